import { type Static, type TObject, type TSchema, type TUnion, Type } from '@sinclair/typebox';

/** Building blocks of the profile's schema. */

export const literals = <T extends string>(values: readonly T[], description: string, options: object = {}) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values], description, ...options });
export const keysOf = <T extends object>(table: T) => Object.keys(table) as (keyof T & string)[];
export const closed = { additionalProperties: false } as const;
export const object = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { ...closed, description });
/** An object that may be omitted: ajv then fills in its members' defaults. */
export const section = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { ...closed, default: {}, description });
/**
 * One of several objects, distinguished by `kind`. Validation goes straight to the chosen kind, so that mistakes are
 * reported for that kind alone and its defaults are filled in.
 */
export const kinds = <T extends TObject[]>(variants: [...T], description: string, options: object = {}) =>
  Type.Unsafe<Static<TUnion<T>>>({
    type: 'object',
    discriminator: { propertyName: 'kind' },
    oneOf: variants,
    description,
    ...options,
  });
export const number = (description: string, options: object = {}) => Type.Number({ description, ...options });
export const integer = (description: string, options: object = {}) =>
  Type.Integer({ description, ...options });
