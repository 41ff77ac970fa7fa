import type { ErrorObject } from 'ajv';
import { nearest } from './nearest.js';
import type { Problem } from './problem.js';

/**
 * The schema's errors in words: what is wrong, where, and the nearest thing that would be right. The words are found
 * when they are asked for: of hundreds of errors only some are reported.
 */
export function describeSchemaErrors(errors: readonly ErrorObject[]): Problem[] {
  const unknownKeys = new Map<string, ErrorObject[]>();
  for (const error of errors) {
    if (error.keyword !== 'additionalProperties') continue;
    const others = unknownKeys.get(error.instancePath);
    if (others) others.push(error);
    else unknownKeys.set(error.instancePath, [error]);
  }
  // A tuple that is too long breaks both `maxItems` and `additionalItems`: one message is enough.
  return errors
    .filter((error) => error.keyword !== 'additionalItems' && !isMistyped(error, unknownKeys))
    .map((error) => {
      const path = error.instancePath.split('/').slice(1).map(pointerPart);
      if (error.keyword === 'additionalProperties') {
        const key: string = error.params.additionalProperty;
        const known = Object.keys(error.parentSchema?.properties ?? {});
        return {
          path: [...path, key],
          at: 'key',
          get text() {
            return `unknown key ${quote(key)} in ${pathName(path)}; ${suggestion(key, known)}`;
          },
        };
      }
      if (error.keyword === 'discriminator') {
        const known: string[] = error.parentSchema?.oneOf.map(
          (variant: { properties: { kind: { const: string } } }) => variant.properties.kind.const,
        );
        const { tagValue } = error.params;
        return tagValue === undefined
          ? { path, at: 'value', text: `${pathName(path)} needs a kind: ${listed(known)}` }
          : { path: [...path, 'kind'], at: 'value', text: wrongWord([...path, 'kind'], tagValue, known) };
      }
      return {
        path,
        at: 'value',
        get text() {
          return describe(error, path);
        },
      };
    });
}

/**
 * Whether the missing key is there with a typing mistake, which is reported by itself.
 * @param unknownKeys errors of unknown keys, by the place that they stand in
 */
function isMistyped(
  { keyword, instancePath, params }: ErrorObject,
  unknownKeys: ReadonlyMap<string, readonly ErrorObject[]>,
): boolean {
  if (keyword !== 'required') return false;
  const others = unknownKeys.get(instancePath) ?? [];
  return others.some(
    (other) =>
      nearest(other.params.additionalProperty, Object.keys(other.parentSchema?.properties ?? {})) ===
      params.missingProperty,
  );
}

function describe({ keyword, params, data, schema, parentSchema }: ErrorObject, path: string[]): string {
  const name = pathName(path);
  const but = `, but is ${shown(data)}`;
  switch (keyword) {
    case 'required': {
      const key: string = params.missingProperty;
      const { description } = parentSchema?.properties?.[key] ?? {};
      const meaning = description ? ` (${String(description).replace(/( \(.*)?\.$/, '')})` : '';
      return `${name} needs the key ${quote(key)}${meaning}`;
    }
    case 'enum':
      return wrongWord(path, data, schema as unknown[]);
    case 'const':
      return `${name} must be ${shown(params.allowedValue)}${but}`;
    case 'type': {
      const typed = typeof data === 'number' && params.type === 'string' ? '; put it in quotes' : '';
      return `${name} must be ${TYPE_NAMES[params.type] ?? params.type}${but}${typed}`;
    }
    case 'minimum':
    case 'exclusiveMinimum':
    case 'maximum':
    case 'exclusiveMaximum':
      return `${name} must be ${COMPARISONS[params.comparison]} ${params.limit}${but}`;
    case 'minLength':
      return `${name} must have at least ${count(params.limit, 'character')}`;
    case 'maxLength':
      return `${name} must have at most ${count(params.limit, 'character')}`;
    case 'minItems':
      return `${name} must have at least ${count(params.limit, 'item')}, but has ${(data as unknown[]).length}`;
    case 'maxItems':
      return `${name} must have at most ${count(params.limit, 'item')}, but has ${(data as unknown[]).length}`;
    case 'pattern':
      return `${name} must match ${params.pattern}${but}`;
    default:
      return `${name} breaks the rule ${keyword}${but}`;
  }
}

const TYPE_NAMES: Record<string, string> = {
  string: 'text',
  number: 'a number',
  integer: 'a whole number',
  boolean: 'true or false',
  object: 'a map of keys',
  array: 'a list',
};
const COMPARISONS: Record<string, string> = {
  '>=': 'at least',
  '>': 'more than',
  '<=': 'at most',
  '<': 'less than',
};

function wrongWord(path: string[], value: unknown, known: readonly unknown[]): string {
  const but = `${pathName(path)} must be one of ${listed(known)}, but is ${shown(value)}`;
  const near = typeof value === 'string' ? nearest(value, known.map(String)) : undefined;
  return near === undefined ? but : `${pathName(path)} is ${shown(value)}; did you mean ${near}?`;
}

function suggestion(typed: string, known: readonly string[]): string {
  const near = nearest(typed, known);
  return near === undefined ? `known are ${listed(known)}` : `did you mean ${quote(near)}?`;
}

/** Short enough for one line: a long list is cut. */
export const listed = (values: readonly unknown[]): string =>
  values.length <= 12
    ? values.join(', ')
    : `${values.slice(0, 11).join(', ')} and ${values.length - 11} more`;

/** `gloves[0].link.baud`; the root is `the profile`. */
export function pathName(path: readonly string[]): string {
  if (path.length === 0) return 'the profile';
  return path.reduce((name, key) => {
    if (/^\d+$/.test(key)) return `${name}[${key}]`;
    const safe = /^[A-Za-z_][\w-]*$/.test(key) ? key : quote(key);
    return name === '' ? safe : `${name}.${safe}`;
  }, '');
}

const pointerPart = (part: string) => part.replaceAll('~1', '/').replaceAll('~0', '~');
const count = (n: number, noun: string) => `${n} ${noun}${n === 1 ? '' : 's'}`;

/** Quoted for one line of a terminal: no control or direction-changing characters, not long. */
export function quote(text: string): string {
  const short = text.length > 40 ? `${text.slice(0, 39)}…` : text;
  return JSON.stringify(short).replace(
    /[\u007f-\u009f\u200e\u200f\u2028-\u202e\u2066-\u2069]/g,
    (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
}

function shown(value: unknown): string {
  if (value === null || value === undefined) return 'empty';
  if (typeof value === 'string') return quote(value);
  if (Array.isArray(value)) return 'a list';
  return typeof value === 'object' ? 'a map of keys' : String(value);
}
