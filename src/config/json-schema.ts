import { ProfileSchema } from './schema.js';

/**
 * JSON Schema (draft-07) of a profile for editors. It differs from the schema that validates: a key with a
 * default need not be written, and `discriminator`, which is not a JSON Schema keyword, is left out.
 */
export function profileJsonSchema(): string {
  const { $schema, ...rest } = { $schema: 'http://json-schema.org/draft-07/schema#', ...ProfileSchema };
  const schema = { $schema, title: 'Tautline profile', ...(forEditors(rest) as object) };
  return `${JSON.stringify(schema, null, 2)}\n`;
}

function forEditors(schema: unknown): unknown {
  if (Array.isArray(schema)) return schema.map(forEditors);
  if (typeof schema !== 'object' || schema === null) return schema;
  const { discriminator: _, required, ...rest } = schema as Record<string, unknown>;
  const properties = rest.properties as Record<string, { default?: unknown }> | undefined;
  const needed = Array.isArray(required)
    ? required.filter((key) => properties?.[key]?.default === undefined)
    : [];
  return {
    ...Object.fromEntries(Object.entries(rest).map(([key, value]) => [key, forEditors(value)])),
    ...(needed.length > 0 ? { required: needed } : {}),
  };
}
