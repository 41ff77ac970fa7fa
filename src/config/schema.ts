import { type Static, Type } from '@sinclair/typebox';
import { FleetSchema } from './schema-fleet.js';
import type { ActuatorSchema, ChannelSchema, FilterSchema } from './schema-glove.js';
import { GloveSchema } from './schema-glove.js';
import type { CodecSchema, LinkSchema } from './schema-link.js';
import { OpenxrSchema } from './schema-openxr.js';
import { integer, number, object, section } from './schema-parts.js';
import { StreamSchema } from './schema-stream.js';

/*** The profile: everything particular to one maker's gloves and one wearer, as YAML. The one source of the type
 * (`Profile`), the validation, the JSON Schema for editors and the documentation. A key with a default may be
 * omitted; loading fills it in, so `Profile` always has it.
 */

export * from './schema-fleet.js';
export * from './schema-glove.js';
export * from './schema-link.js';
export * from './schema-openxr.js';
export * from './schema-stream.js';

export const SafetySchema = section(
  {
    maxTensionN: number('Largest string tension.', { default: 8, exclusiveMinimum: 0, maximum: 50 }),
    maxStopRatePerS: number('Fastest move of a stop towards the finger, curl a second.', {
      default: 10,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
    allowPull: Type.Boolean({
      description: 'Permit stops behind the finger (pulling it open).',
      default: false,
    }),
    defaultTtlMs: integer('Lifetime of a request that gives none.', {
      default: 250,
      minimum: 20,
      maximum: 1000,
    }),
    maxTtlMs: integer('Longest lifetime of a request.', { default: 1000, minimum: 20, maximum: 1000 }),
    staleMs: integer('When the newest sample is older than this, every finger is freed.', {
      default: 100,
      minimum: 20,
      maximum: 1000,
    }),
    maxSupplyA: number('Current that all actuators of a glove may draw together.', {
      default: 4,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
  },
  'Limits that no app can lift.',
);

export const WearerSchema = section(
  {
    name: Type.Optional(
      Type.String({ description: 'Who wears the glove; fits are kept under this name.', maxLength: 40 }),
    ),
    handLengthMm: number('From the wrist crease to the tip of the middle finger.', {
      default: 189,
      minimum: 100,
      maximum: 300,
    }),
    handBreadthMm: number('Width across the four knuckles.', { default: 85, minimum: 50, maximum: 150 }),
  },
  'The hand inside the glove.',
);

export const ProfileSchema = object(
  {
    profile: Type.Literal(1, { description: 'Version of this format: 1.' }),
    name: Type.String({ description: 'A name for the profile.', default: 'unnamed', maxLength: 60 }),
    gloves: Type.Array(GloveSchema, { description: 'One or two gloves.', minItems: 1, maxItems: 2 }),
    wearer: WearerSchema,
    safety: SafetySchema,
    stream: StreamSchema,
    openxr: OpenxrSchema,
    fleet: FleetSchema,
  },
  'A Tautline profile.',
);

export type Profile = Static<typeof ProfileSchema>;
export type GloveProfile = Static<typeof GloveSchema>;
export type LinkProfile = Static<typeof LinkSchema>;
export type CodecProfile = Static<typeof CodecSchema>;
export type LinesProfile = Extract<CodecProfile, { kind: 'lines' }>;
export type ChannelProfile = Static<typeof ChannelSchema>;
export type ActuatorProfile = Static<typeof ActuatorSchema>;
export type FilterProfile = Static<typeof FilterSchema>;
export type SafetyProfile = Static<typeof SafetySchema>;
export type StreamProfile = Static<typeof StreamSchema>;
export type FleetProfile = NonNullable<Profile['fleet']>;
export type OpenxrProfile = Static<typeof OpenxrSchema>;
export type WearerProfile = Static<typeof WearerSchema>;
