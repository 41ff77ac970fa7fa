import type { TSchema } from '@sinclair/typebox';
import { LINE_COLUMNS, type Profile, ProfileSchema } from '../config/schema.js';
import { CHANNEL_ROLE } from '../protocol/link-table.js';

/** Replaces a text that the owner chose. */
const TEXT = '<text>';
/** Texts of the owner's that only say how a glove is built: the model of its USB adapter, its separator. */
const TELLING = new Set(['vendor', 'product', 'separator']);
const WORDS = new Set<unknown>([...LINE_COLUMNS, ...Object.keys(CHANNEL_ROLE)]);

/**
 * A profile without personal data: numbers, switches, and words from the schema. Anything that the schema does not
 * name is omitted, so that a future key cannot leak.
 * @returns the profile, and every text that was removed from it
 */
export function namelessProfile(profile: Profile): { profile: unknown; texts: string[] } {
  const texts: string[] = [];
  const take = (value: unknown, schema: TSchema | undefined, key: string): unknown => {
    if (typeof value === 'number' || typeof value === 'boolean' || value === null) return value;
    if (typeof value === 'string') {
      if (schema?.const === value || schema?.enum?.includes(value)) return value;
      if (schema !== undefined && (TELLING.has(key) || WORDS.has(value))) return value;
      texts.push(value);
      return TEXT;
    }
    if (Array.isArray(value)) {
      const items = (index: number) => (Array.isArray(schema?.items) ? schema.items[index] : schema?.items);
      return value.map((item, index) => take(item, items(index), key));
    }
    if (typeof value !== 'object') return undefined;
    const object = value as Record<string, unknown>;
    const variants: TSchema[] | undefined = schema?.oneOf ?? schema?.anyOf;
    const own = variants
      ? variants.find(({ properties }) => properties?.kind?.const === object.kind)
      : schema;
    const kept: Record<string, unknown> = {};
    for (const [name, item] of Object.entries(object)) {
      const known = own?.properties?.[name];
      const shown = take(item, known, name);
      if (known) kept[name] = shown;
      // The key is the owner's own, such as the name of an app.
      else texts.push(name);
    }
    return kept;
  };
  return { profile: take(profile, ProfileSchema, ''), texts };
}
