import { type TSchema, Type } from '@sinclair/typebox';
import { SavedFitSchema } from '../config/fit-file.js';
import { ProfileSchema } from '../config/schema.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import {
  ACTUATOR_KIND,
  ACTUATOR_ROLE,
  type ActuatorKind,
  type ActuatorRole,
  CHANNEL_ROLE,
  type ChannelRole,
  MAX_ACTUATORS,
  MAX_CHANNELS,
} from '../protocol/link-table.js';
import { AppMessages, type AppMessageType, ServerMessages } from '../protocol/messages.js';
import { BINARY_LAYOUT } from '../stream/joints-record.js';

/**
 * The contents of a session file: MCAP, with one channel for each kind of record. Every schema is in the file.
 * Times of messages (`logTime`) are ns since 1970; times inside are µs of the recording service's
 * monotonic clock, and one constant lies between the two in all of a file (`epochNs` of the session).
 */

/** In the header of the file. */
export const MCAP_PROFILE = 'tautline';
/** Version of the layout below. */
export const SESSION_VERSION = 1;

const oneOf = <T extends string>(values: readonly T[]) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values] });

export const SessionSchema = Type.Object(
  {
    session: Type.Integer({ description: 'Version of the layout: 1.' }),
    program: Type.String({ description: 'Version of the program that recorded.' }),
    startedAt: Type.String({ description: 'When the recording began; ISO 8601, UTC.' }),
    timeUs: Type.Number({ description: "The service's clock when this file began." }),
    epochNs: Type.String({
      pattern: '^-?[0-9]{1,19}$',
      description: 'logTime = epochNs + 1000 × timeUs; decimal.',
    }),
    part: Type.Integer({ description: 'Number of the file, from 1, when a recording was split.' }),
    hands: Type.Array(oneOf(HAND_SIDES), { maxItems: 2 }),
    joints: Type.Boolean({ description: 'Whether computed poses were recorded as well.' }),
  },
  { $id: 'session', description: 'What this file is. The first message.' },
);

export const GloveSchema = Type.Object(
  {
    timeUs: Type.Number(),
    name: Type.String(),
    hand: oneOf(HAND_SIDES),
    sampleRateHz: Type.Number({ minimum: 0, maximum: 65535 }),
    deviceId: Type.Optional(Type.String({ pattern: '^[0-9a-f]{16}$' })),
    firmwareVersion: Type.Optional(Type.Integer({ minimum: 0, maximum: 65535 })),
    channels: Type.Array(
      Type.Object({
        role: oneOf(Object.keys(CHANNEL_ROLE) as ChannelRole[]),
        bits: Type.Integer({ minimum: 1, maximum: 16 }),
      }),
      { maxItems: MAX_CHANNELS },
    ),
    actuators: Type.Array(
      Type.Object({
        role: oneOf(Object.keys(ACTUATOR_ROLE) as ActuatorRole[]),
        kind: oneOf(Object.keys(ACTUATOR_KIND) as ActuatorKind[]),
      }),
      { maxItems: MAX_ACTUATORS },
    ),
    lengthM: Type.Number({ description: 'Hand length.' }),
    breadthM: Type.Number({ description: 'Hand breadth.' }),
  },
  { $id: 'glove', description: "The glove's description of itself; again whenever it changed." },
);

const DriftMemory = Type.Array(Type.Union([Type.Number(), Type.Null()]), {
  description:
    'The drift that was followed. For each channel its shift (part of the range), then where each was last, least ' +
    'and most of this window, least and most of the one before; then four times in s. null: not known.',
});

export const StatusSchema = Type.Object(
  {
    timeUs: Type.Number(),
    state: oneOf(['closed', 'opening', 'live', 'lost', 'waiting', 'silent'] as const),
    address: Type.String(),
    reason: Type.Optional(Type.String()),
    code: Type.Optional(Type.String()),
    joinedLate: Type.Optional(
      Type.Boolean({
        description: 'The link was live before the recording began, so its hello is not in here.',
      }),
    ),
    /** With joinedLate. */
    drift: Type.Optional(DriftMemory),
  },
  { $id: 'status', description: 'The link to the glove changed; silent: it is live, but samples stopped.' },
);

/** Requests of apps that change what the gloves do. */
export const REQUEST_TYPES = [
  'resist',
  'touch',
  'pulse',
  'tracker',
  'release',
  'arm',
  'disarm',
  'rezero',
] as const satisfies readonly AppMessageType[];

export const RequestSchema = Type.Object(
  {
    timeUs: Type.Number(),
    app: Type.String({ description: 'Who asked.' }),
    request: Type.Union(
      REQUEST_TYPES.map((type) => {
        const { $id: _, ...schema } = AppMessages[type] as TSchema;
        return Type.Unsafe(schema);
      }),
    ),
    refusal: Type.Optional(Type.Object({ code: Type.String(), message: Type.String() })),
  },
  { $id: 'request', description: 'A request of an app.' },
);

export const FitsSchema = Type.Object(
  { timeUs: Type.Number(), fits: Type.Array(SavedFitSchema, { maxItems: 4 }) },
  {
    $id: 'fits',
    description:
      'Fits in use over the profile: of the sensors, the string stops, the bones and the mount, each where there is one; ' +
      'again whenever that changed.',
  },
);

export const DriftSchema = Type.Object(
  { timeUs: Type.Number(), memory: DriftMemory },
  {
    $id: 'drift',
    description: 'For those who begin here: at the start, now and then, and after each re-zeroing.',
  },
);

export const MarkSchema = Type.Object(
  { timeUs: Type.Number(), text: Type.String({ maxLength: 1000 }) },
  { $id: 'mark', description: 'A note by a person.' },
);

export const OriginSchema = Type.Object(
  {
    site: Type.String({ maxLength: 40 }),
    station: Type.String({ maxLength: 40 }),
    run: Type.String({
      pattern: '^[0-9a-f]{16}$',
      description: "Drawn at the start of the station's service.",
    }),
    collector: Type.String({ maxLength: 40 }),
  },
  { $id: 'origin', description: 'Where a session that was recorded through a broker comes from.' },
);

export const ClockSchema = Type.Object(
  {
    timeUs: Type.Number(),
    offsetUs: Type.Number({
      description: "What to add to logTime to get the time of the collector's clock.",
    }),
    errorUs: Type.Optional(
      Type.Number({
        description: 'How far that may be wrong; absent: not known, then it is at most so much too large.',
      }),
    ),
    ntp: Type.String({
      description: "Whether the station's clock follows others: unknown, free, synchronised.",
    }),
  },
  { $id: 'clock', description: "The station's clock against that of the collector; now and then." },
);

export const SegmentSchema = Type.Object(
  {
    timeUs: Type.Number(),
    seq: Type.Integer({
      minimum: 0,
      description: 'Number of the segment, from 0: a gap is one that is missing.',
    }),
  },
  { $id: 'segment', description: 'What follows of this hand, up to the next one, came as one message.' },
);

const LINK_LAYOUT = `Bytes as they were on the link.

offset  size  field
0       f64   time, little-endian: µs of the service's monotonic clock (received: arrival; sent: departure)
8       …     the bytes
`;
const JOINTS_LAYOUT = `A pose of one hand: the record of the stream's subprotocol tautline.binary.v1, little-endian.

offset  type  field: meaning
${BINARY_LAYOUT.map(({ offset, type, name, meaning }) => `${offset ?? '…'}  ${type}  ${name}: ${meaning}`).join('\n')}
`;

export interface ChannelKind {
  schema: string;
  schemaEncoding: 'jsonschema' | 'text';
  schemaText: string;
  messageEncoding: 'json' | 'tautline.link' | 'tautline.joints';
}

const json = (schema: object & { $id?: string }): ChannelKind => ({
  schema: `tautline.${schema.$id}`,
  schemaEncoding: 'jsonschema',
  schemaText: JSON.stringify({ $schema: 'http://json-schema.org/draft-07/schema#', ...schema }),
  messageEncoding: 'json',
});
const link: ChannelKind = {
  schema: 'tautline.link',
  schemaEncoding: 'text',
  schemaText: LINK_LAYOUT,
  messageEncoding: 'tautline.link',
};

/** Channels of the whole session, and of each hand under `left/` or `right/`. */
export const SESSION_CHANNELS = {
  session: json(SessionSchema),
  profile: json({ ...ProfileSchema, $id: 'profile' }),
  mark: json(MarkSchema),
  origin: json(OriginSchema),
  clock: json(ClockSchema),
} as const;
export const HAND_CHANNELS = {
  received: link,
  sent: link,
  glove: json(GloveSchema),
  fits: json(FitsSchema),
  status: json(StatusSchema),
  drift: json(DriftSchema),
  request: json(RequestSchema),
  resistance: json(ServerMessages.resistance),
  health: json(ServerMessages.health),
  segment: json(SegmentSchema),
  joints: {
    schema: 'tautline.joints',
    schemaEncoding: 'text',
    schemaText: JOINTS_LAYOUT,
    messageEncoding: 'tautline.joints',
  },
} as const satisfies Record<string, ChannelKind>;
export type SessionChannel = keyof typeof SESSION_CHANNELS;
export type HandChannel = keyof typeof HAND_CHANNELS;

export const topicOf = (hand: HandSide, channel: HandChannel): string => `${hand}/${channel}`;

/** What one of our topics carries; undefined for topics that another program added. */
export function parseTopic(
  topic: string,
): { hand?: HandSide; channel: SessionChannel | HandChannel } | undefined {
  if (Object.hasOwn(SESSION_CHANNELS, topic)) return { channel: topic as SessionChannel };
  const [hand, channel] = topic.split('/');
  if (!(HAND_SIDES as readonly string[]).includes(hand) || !Object.hasOwn(HAND_CHANNELS, channel ?? ''))
    return undefined;
  return { hand: hand as HandSide, channel: channel as HandChannel };
}

/** Bytes of time before the link's bytes. */
export const LINK_HEADER_BYTES = 8;
