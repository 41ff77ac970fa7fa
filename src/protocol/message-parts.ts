import { type TSchema, Type } from '@sinclair/typebox';
import { HAND_SIDES } from '../hand/joints.js';

/** Pieces that messages in both directions are made of. */

export const literals = <T extends string>(values: readonly T[], description: string) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values], description });
export const keysOf = <T extends object>(table: T) => Object.keys(table) as (keyof T & string)[];
export const message = <K extends string, T extends Record<string, TSchema>>(
  type: K,
  properties: T,
  description: string,
) =>
  Type.Object(
    { type: Type.Literal(type), ...properties },
    { additionalProperties: false, description, $id: type },
  );
export const record = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { additionalProperties: false, description });

export const HandSchema = literals(HAND_SIDES, 'Which hand.');

export const id = Type.Optional(
  Type.Union([Type.String({ maxLength: 64 }), Type.Integer()], {
    description: 'Echoed in the ack or error.',
  }),
);
export const unit = (description: string) => Type.Number({ minimum: 0, maximum: 1, description });
export const metres = (description: string) => Type.Number({ exclusiveMinimum: 0, maximum: 10, description });
export const vector = (description: string) =>
  Type.Tuple(
    [
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
    ],
    { description },
  );
export const quaternion = Type.Tuple(
  [
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
  ],
  { description: 'Unit quaternion x, y, z, w; one whose length is off by more than 2 % is refused.' },
);
export const ttlMs = Type.Optional(
  Type.Integer({
    minimum: 1,
    maximum: 1000,
    description: 'Life of the request; 250 when absent, 1000 at most.',
  }),
);
export const layer = Type.Optional(
  Type.String({
    maxLength: 32,
    description: 'Name of the layer, for an app that holds several things at once.',
  }),
);
export const perFinger = <T extends TSchema>(value: T, description: string) =>
  Type.Partial(
    Type.Object(
      { thumb: value, index: value, middle: value, ring: value, little: value },
      { additionalProperties: false },
    ),
    { description },
  );
