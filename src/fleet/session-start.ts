import { createHash } from 'node:crypto';
import { type Static, Type } from '@sinclair/typebox';
import { parseProfile } from '../config/load.js';
import type { Profile } from '../config/schema.js';
import { type SchemaCheck, schemaCheck, schemaCompiler } from '../config/schema-check.js';
import type { Glove } from '../glove/view.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import { writeState } from '../recording/glove-records.js';
import { ID_BYTES } from './segment.js';
import { FLEET_VERSION } from './topics.js';

/** What a recording of a station begins with, wherever it begins: its profile, and how the gloves are. */

/** What writeState says of a hand, by channel. */
export const STATE_CHANNELS = ['glove', 'fits', 'status', 'drift', 'health'] as const;
export type StateChannel = (typeof STATE_CHANNELS)[number];
export type HandState = Partial<Record<StateChannel, object>>;

const StateSchema = Type.Record(Type.String(), Type.Object({}));
export const SessionStartSchema = Type.Object(
  {
    fleet: Type.Literal(FLEET_VERSION),
    run: Type.String({ pattern: '^[0-9a-f]{16}$' }),
    digest: Type.String({ pattern: '^[0-9a-f]{16}$' }),
    program: Type.String({ maxLength: 40 }),
    timeUs: Type.Number({ minimum: 0, maximum: 1e16 }),
    /** Before 2200: the times of a session are ns in 64 bits. */
    epochNs: Type.String({ pattern: '^[0-9]{1,19}$' }),
    hands: Type.Array(Type.Unsafe<HandSide>({ type: 'string', enum: [...HAND_SIDES] }), {
      maxItems: 2,
      uniqueItems: true,
    }),
    profile: Type.Object({}),
    states: Type.Object({ left: Type.Optional(StateSchema), right: Type.Optional(StateSchema) }),
  },
  { $id: 'fleetSession' },
);
type SessionStartBody = Static<typeof SessionStartSchema>;

export interface SessionStart extends Omit<SessionStartBody, 'profile' | 'states'> {
  profile: Profile;
  states: Partial<Record<HandSide, HandState>>;
}

const compiler = schemaCompiler({ strict: false, validateFormats: false });
const isStart: SchemaCheck<typeof SessionStartSchema> = schemaCheck(compiler, SessionStartSchema);
/** A profile is at most 256 kB of YAML; the rest is small. */
const MAX_BYTES = 512 * 1024;
const MAX_EPOCH_NS = 7_258_118_400_000_000_000n;

export const profileDigest = (profile: object): string =>
  createHash('sha256')
    .update(JSON.stringify(profile))
    .digest('hex')
    .slice(0, 2 * ID_BYTES);

export interface StartSources {
  run: string;
  digest: string;
  program: string;
  epochNs: bigint;
  /** As it is recorded: without secrets. */
  profile: object;
  gloves: readonly Glove[];
}

/** As JSON. */
export function sessionStart(
  { run, digest, program, epochNs, profile, gloves }: StartSources,
  timeUs: number,
): Uint8Array {
  const states: Partial<Record<HandSide, HandState>> = {};
  const to = {
    link() {},
    joints() {},
    json(hand: HandSide, channel: string, _: number, body: object) {
      states[hand] = { ...states[hand], [channel]: body };
    },
  };
  for (const glove of gloves) writeState(to, glove, timeUs);
  return Buffer.from(
    JSON.stringify({
      fleet: FLEET_VERSION,
      run,
      digest,
      program,
      timeUs,
      epochNs: String(epochNs),
      hands: gloves.map(({ description }) => description.hand),
      profile,
      states,
    }),
  );
}

/** @returns the start, or why it is none: it may come from anywhere */
export function parseSessionStart(payload: Uint8Array): SessionStart | string {
  if (payload.length > MAX_BYTES) return 'it is too large';
  let value: unknown;
  try {
    value = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(payload));
  } catch {
    return 'it is no JSON';
  }
  if (!isStart()(value)) return 'it breaks its schema';
  if (BigInt(value.epochNs) > MAX_EPOCH_NS) return 'its time is no time';
  try {
    const profile = parseProfile(JSON.stringify(value.profile), 'profile', true);
    // Its own text is what the digest is of, and what is kept.
    return { ...value, profile: value.profile as unknown as Profile & typeof profile };
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
}
