import { type Static, type TSchema, Type } from '@sinclair/typebox';
import { FINGERS, HAND_SIDES, JOINT_COUNT } from '../hand/joints.js';
import { FINGER_STATES, STREAM_PROTOCOL, STREAMS } from './constants.js';
import { ACTUATOR_KIND, ACTUATOR_ROLE, CHANNEL_ROLE } from './link-table.js';

/**
 * The stream's messages, once: types, validation, JSON Schemas and the AsyncAPI document come from here.
 * Lengths in metres, angles in radians, times in µs of the service's monotonic clock.
 */

export * from './constants.js';

const literals = <T extends string>(values: readonly T[], description: string) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values], description });
const keysOf = <T extends object>(table: T) => Object.keys(table) as (keyof T & string)[];
const message = <K extends string, T extends Record<string, TSchema>>(
  type: K,
  properties: T,
  description: string,
) =>
  Type.Object(
    { type: Type.Literal(type), ...properties },
    { additionalProperties: false, description, $id: type },
  );
const record = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { additionalProperties: false, description });

export const HandSchema = literals(HAND_SIDES, 'Which hand.');

const id = Type.Optional(
  Type.Union([Type.String({ maxLength: 64 }), Type.Integer()], {
    description: 'Echoed in the ack or error.',
  }),
);
const unit = (description: string) => Type.Number({ minimum: 0, maximum: 1, description });
const metres = (description: string) => Type.Number({ exclusiveMinimum: 0, maximum: 10, description });
const vector = (description: string) =>
  Type.Tuple(
    [
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
      Type.Number({ minimum: -1e4, maximum: 1e4 }),
    ],
    { description },
  );
const quaternion = Type.Tuple(
  [
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
    Type.Number({ minimum: -1.01, maximum: 1.01 }),
  ],
  { description: 'Unit quaternion x, y, z, w.' },
);
const ttlMs = Type.Optional(
  Type.Integer({
    minimum: 1,
    maximum: 1000,
    description: 'Life of the request; 250 when absent, 1000 at most.',
  }),
);
const layer = Type.Optional(
  Type.String({
    maxLength: 32,
    description: 'Name of the layer, for an app that holds several things at once.',
  }),
);
const perFinger = <T extends TSchema>(value: T, description: string) =>
  Type.Partial(
    Type.Object(
      { thumb: value, index: value, middle: value, ring: value, little: value },
      { additionalProperties: false },
    ),
    { description },
  );

// ---- app -> server ---------------------------------------------------------------------------------------

export const ShapeSchema = Type.Union(
  [
    record({ kind: Type.Literal('sphere'), radius: metres('Radius.') }, 'A ball.'),
    record(
      { kind: Type.Literal('box'), size: Type.Tuple([metres('x'), metres('y'), metres('z')]) },
      'A box; full edge lengths.',
    ),
    record(
      {
        kind: Type.Literal('capsule'),
        radius: metres('Radius.'),
        length: metres('Between the centres of the caps, along y.'),
      },
      'A capsule along its y axis.',
    ),
    record(
      { kind: Type.Literal('cylinder'), radius: metres('Radius.'), length: metres('Along y.') },
      'A cylinder along its y axis.',
    ),
    record({ kind: Type.Literal('halfSpace') }, 'Everything below the plane y = 0 of its pose.'),
    record(
      { kind: Type.Literal('hull'), points: Type.Array(vector('Point.'), { minItems: 4, maxItems: 256 }) },
      'The convex hull of points.',
    ),
  ],
  { description: 'What is touched.' },
);

export const AppMessages = {
  subscribe: message(
    'subscribe',
    {
      id,
      app: Type.Optional(
        Type.String({ minLength: 1, maxLength: 40, description: 'A name for people, shown by the status.' }),
      ),
      hands: Type.Optional(
        Type.Array(HandSchema, {
          minItems: 1,
          maxItems: 2,
          uniqueItems: true,
          description: 'Every hand when absent.',
        }),
      ),
      streams: Type.Optional(
        Type.Array(literals(STREAMS, 'Which stream.'), {
          maxItems: STREAMS.length,
          uniqueItems: true,
          description: 'Joints alone when absent.',
        }),
      ),
      rateHz: Type.Optional(
        Type.Number({
          minimum: 1,
          maximum: 10_000,
          description: 'Poses and inputs a second at most; every sample when absent or more than there are.',
        }),
      ),
      velocities: Type.Optional(Type.Boolean({ description: 'Add joint velocities to the poses.' })),
      predictMs: Type.Optional(
        Type.Number({
          minimum: 0,
          maximum: 50,
          description: 'Extrapolate poses by this time, for the delay until they are shown.',
        }),
      ),
    },
    'What the app wants to get. Replaces an earlier subscription; an empty `streams` ends it.',
  ),
  resist: message(
    'resist',
    {
      id,
      hand: HandSchema,
      layer,
      fingers: perFinger(
        record(
          {
            stopAt: unit('Curl that the finger cannot pass.'),
            effort: unit('Part of the permitted maximum.'),
          },
          'A stop.',
        ),
        'A stop for each finger named; the others are free.',
      ),
      ttlMs,
    },
    'Stop fingers at given curls. Renew it before it expires.',
  ),
  touch: message(
    'touch',
    {
      id,
      hand: HandSchema,
      layer,
      shape: ShapeSchema,
      space: Type.Optional(literals(['wrist', 'palm', 'world'], 'Frame of the pose; wrist when absent.')),
      position: Type.Optional(vector('Position of the shape, m.')),
      orientation: Type.Optional(quaternion),
      effort: Type.Optional(unit('Part of the permitted maximum; 1 when absent.')),
      stiffness: Type.Optional(
        Type.Number({
          exclusiveMinimum: 0,
          maximum: 1e6,
          description: 'N/m at the surface; hard when absent.',
        }),
      ),
      texture: Type.Optional(
        record(
          { amplitude: unit('Of the effort.'), frequencyHz: Type.Number({ minimum: 1, maximum: 200 }) },
          'A roughness felt while moving along the surface.',
        ),
      ),
      ttlMs,
    },
    'Say what is touched; each finger is stopped at its surface. Renew it before it expires.',
  ),
  release: message('release', { id, hand: Type.Optional(HandSchema), layer }, "Drop this app's requests."),
  pulse: message(
    'pulse',
    {
      id,
      hand: HandSchema,
      finger: Type.Optional(literals([...FINGERS, 'palm'] as const, 'Which; every one when absent.')),
      amplitude: unit('Of the permitted maximum.'),
      durationMs: Type.Integer({ minimum: 1, maximum: 2000 }),
      frequencyHz: Type.Optional(
        Type.Integer({ minimum: 1, maximum: 1000, description: '150 when absent.' }),
      ),
    },
    'A short buzz or knock.',
  ),
  tracker: message(
    'tracker',
    {
      id,
      hand: HandSchema,
      position: vector('Of the wrist in world space, m.'),
      orientation: quaternion,
      ttlMs: Type.Optional(Type.Integer({ minimum: 1, maximum: 10_000, description: '1000 when absent.' })),
    },
    'Where the wrist is, from an app that knows it: joints then come in world space.',
  ),
  arm: message(
    'arm',
    { id, hand: Type.Optional(HandSchema) },
    "Permit forces in the wearer's place. For apps that the profile permits to, by name and token; refused after the wearer has disarmed or the link was lost, until the wearer has armed again.",
  ),
  disarm: message(
    'disarm',
    { id, hand: Type.Optional(HandSchema) },
    'Forbid forces and free every finger, now.',
  ),
  rezero: message(
    'rezero',
    { id, hand: Type.Optional(HandSchema) },
    'The wearer holds the hand flat and open now: take what the sensors read as open.',
  ),
  ping: message(
    'ping',
    { id, timeUs: Type.Optional(Type.Number({ description: 'Echoed.' })) },
    'Answered by an ack.',
  ),
} as const;
export type AppMessageType = keyof typeof AppMessages;
export type AppMessageOf<T extends AppMessageType> = Static<(typeof AppMessages)[T]>;
export type AppMessage = { [T in AppMessageType]: AppMessageOf<T> }[AppMessageType];
export type Shape = Static<typeof ShapeSchema>;

// ---- server -> app ---------------------------------------------------------------------------------------

const microseconds = (description: string) => Type.Number({ description });
const fingerStates = Type.Object(
  Object.fromEntries(
    FINGERS.map((finger) => [finger, literals(FINGER_STATES, 'State of the finger.')]),
  ) as Record<(typeof FINGERS)[number], ReturnType<typeof literals<(typeof FINGER_STATES)[number]>>>,
  { additionalProperties: false, description: 'tracked: sensed; inferred: filled in; invalid: not known.' },
);
const linkStatus = record(
  {
    state: literals(['closed', 'opening', 'live', 'lost', 'waiting'], 'State of the link.'),
    address: Type.String({ description: 'What the link goes to.' }),
    recorded: Type.Optional(
      Type.String({
        description:
          'Name of the session that is shown in place of the glove; absent while it is the glove itself. Nothing that is asked of a recording moves a finger.',
      }),
    ),
    reason: Type.Optional(Type.String({ description: 'Why it is not live, and what to do.' })),
    code: Type.Optional(Type.String({ description: 'Code of the reason.' })),
  },
  'The path to the glove.',
);

export const ServerMessages = {
  welcome: message(
    'welcome',
    {
      protocol: Type.Literal(STREAM_PROTOCOL),
      server: record({ name: Type.Literal('tautline'), version: Type.String() }, 'Who speaks.'),
      app: Type.String({ description: 'The id that the service gave this connection.' }),
      timeUs: microseconds("The service's clock now."),
      jointOrder: Type.Array(Type.String(), { minItems: JOINT_COUNT, maxItems: JOINT_COUNT }),
      hands: Type.Array(
        record(
          {
            hand: HandSchema,
            name: Type.String({ description: "The glove's name in the profile." }),
            link: linkStatus,
            armed: Type.Boolean(),
            howToArm: Type.String({
              description:
                'How the wearer arms this glove, for an app to show: words that complete "To arm: …".',
            }),
            sampleRateHz: Type.Number({ description: 'Samples a second; 0 until the glove has said it.' }),
            deviceId: Type.Optional(Type.String()),
            firmwareVersion: Type.Optional(Type.Integer()),
            channels: Type.Array(
              record(
                {
                  role: literals(keysOf(CHANNEL_ROLE), 'Role.'),
                  bits: Type.Integer(),
                  open: Type.Optional(
                    Type.Number({ description: 'Counts at the open end of the range in use.' }),
                  ),
                  closed: Type.Optional(Type.Number({ description: 'Counts at the closed end.' })),
                },
                'A sensor.',
              ),
            ),
            actuators: Type.Array(
              record(
                {
                  role: literals(keysOf(ACTUATOR_ROLE), 'Role.'),
                  kind: literals(keysOf(ACTUATOR_KIND), 'Kind.'),
                  unused: Type.Optional(
                    record(
                      {
                        reason: Type.String({ description: 'Goes on from `index stays free: `.' }),
                        remedy: Type.String({ description: 'What to do.' }),
                      },
                      'Why it is never used, so that its finger stays free whatever is asked.',
                    ),
                  ),
                },
                'An output.',
              ),
            ),
            skeleton: record(
              {
                lengthM: Type.Number(),
                breadthM: Type.Number(),
                radiiM: Type.Array(Type.Number(), { description: 'In joint order.' }),
                restPoses: Type.Array(Type.Array(Type.Number()), {
                  description: '26 × [x, y, z, qx, qy, qz, qw], open hand.',
                }),
              },
              'The hand of the wearer.',
            ),
            inputs: Type.Array(Type.String(), { description: 'Input paths that this hand has.' }),
            maxTensionN: Type.Optional(
              Type.Number({ description: 'Largest string tension that the wearer permits.' }),
            ),
          },
          'A hand.',
        ),
      ),
    },
    'Sent first, and again whenever a glove turns out to be different.',
  ),
  joints: message(
    'joints',
    {
      hand: HandSchema,
      seq: Type.Integer({
        minimum: 0,
        maximum: 0xffff_ffff,
        description:
          'Counts the poses meant for this subscriber: a gap is a pose dropped for being slow. Starts anywhere, and over after a subscribe or a welcome; wraps to 0 after 2^32 - 1.',
      }),
      timeUs: microseconds('Time of the sample; always increases. Whole µs.'),
      space: literals(['wrist', 'world'], 'Frame of the poses.'),
      valid: Type.Boolean({
        description: 'False while the link is silent: the poses are then the last known.',
      }),
      reason: Type.Optional(Type.String({ description: 'Why not valid.' })),
      fingers: fingerStates,
      poses: Type.Array(Type.Array(Type.Number(), { minItems: 8, maxItems: 8 }), {
        minItems: JOINT_COUNT,
        maxItems: JOINT_COUNT,
        description: '26 × [x, y, z, qx, qy, qz, qw, radius] in joint order.',
      }),
      velocities: Type.Optional(
        Type.Array(Type.Array(Type.Number(), { minItems: 6, maxItems: 6 }), {
          minItems: JOINT_COUNT,
          maxItems: JOINT_COUNT,
          description: '26 × [vx, vy, vz, wx, wy, wz].',
        }),
      ),
    },
    'One pose of one hand.',
  ),
  inputs: message(
    'inputs',
    {
      hand: HandSchema,
      seq: Type.Integer(),
      timeUs: microseconds('Time of the sample.'),
      values: Type.Record(Type.String(), Type.Union([Type.Number(), Type.Boolean()]), {
        description: 'OpenXR input path -> value; all of them.',
      }),
      poses: Type.Optional(
        Type.Record(Type.String(), Type.Array(Type.Number(), { minItems: 7, maxItems: 7 }), {
          description: 'OpenXR pose path -> [x, y, z, qx, qy, qz, qw].',
        }),
      ),
    },
    'Inputs for apps without hand support; sent on change.',
  ),
  resistance: message(
    'resistance',
    {
      hand: HandSchema,
      timeUs: microseconds('When.'),
      armed: Type.Boolean(),
      fingers: perFinger(
        record(
          {
            curl: Type.Number({ description: 'Where the finger is.' }),
            stopAt: Type.Optional(Type.Number({ description: 'Where it is held; absent when free.' })),
            effort: Type.Number({ description: 'Given, 0..1 of the permitted maximum.' }),
            tensionN: Type.Number(),
            heat: Type.Number({ description: 'Part of the thermal budget used, 0..1.' }),
            by: Type.Optional(Type.String({ description: 'App that holds it.' })),
            limits: Type.Array(Type.String(), { description: 'Why less is given than was asked.' }),
            contact: Type.Optional(
              record(
                {
                  joint: Type.String({ description: 'Joint that touches first.' }),
                  point: vector('Where, in the frame of the joints.'),
                  normal: vector('Out of the surface.'),
                  depthM: Type.Number({ description: 'How deep the finger is inside; negative: distance.' }),
                },
                'First contact of a touch.',
              ),
            ),
          },
          'A finger.',
        ),
        'What each finger is held at.',
      ),
      events: Type.Optional(
        Type.Array(
          record(
            {
              timeUs: microseconds('When.'),
              finger: Type.Optional(literals(FINGERS, 'Which.')),
              reason: Type.String(),
            },
            'An intervention of the governor.',
          ),
        ),
      ),
    },
    'What the governor does; on change, 60 times a second at most.',
  ),
  health: message(
    'health',
    {
      hand: HandSchema,
      timeUs: microseconds('When.'),
      link: linkStatus,
      channels: Type.Array(
        record(
          {
            role: literals(keysOf(CHANNEL_ROLE), 'Which.'),
            verdict: Type.String({ description: '`healthy` or the name of the fault.' }),
            evidence: Type.Optional(Type.String()),
            remedy: Type.Optional(Type.String()),
            counts: Type.Optional(Type.Number({ description: 'Raw, newest.' })),
            value: Type.Optional(Type.Number({ description: 'Calibrated and filtered.' })),
          },
          'A channel.',
        ),
      ),
      rateHz: Type.Number({ description: 'Samples a second, measured.' }),
      lost: Type.Integer({ description: 'Frames lost or damaged since the start.' }),
      batteryMv: Type.Optional(Type.Integer()),
      temperatureC: Type.Optional(Type.Number()),
      faults: Type.Array(Type.String(), { description: 'Faults that the glove reports.' }),
      clock: Type.Optional(
        record(
          {
            offsetUs: Type.Number({ description: "The service's clock less the glove's." }),
            driftPpm: Type.Number({ description: "Positive: the glove's clock runs slow." }),
            jitterUs: Type.Number({ description: 'Mean delay of a sample beyond the least.' }),
            roundTripUs: Type.Optional(Type.Number({ description: 'Least round trip of late.' })),
            resets: Type.Integer({ description: "Jumps of the glove's clock." }),
            batchMs: Type.Optional(
              Type.Number({ description: 'Samples come in bursts, so far apart; absent when one by one.' }),
            ),
            note: Type.Optional(Type.String({ description: 'What to do about bursts.' })),
          },
          "The glove's clock against the service's.",
        ),
      ),
    },
    'State of glove, link and channels; on change, and once a second.',
  ),
  signals: message(
    'signals',
    {
      hand: HandSchema,
      timeUs: microseconds('Time of the sample.'),
      counts: Type.Array(Type.Number(), { description: 'Raw, in the order of the channels in `health`.' }),
      values: Type.Array(Type.Number(), {
        description: 'Calibrated and filtered: 0..1, or -1..1 for a channel with a middle.',
      }),
      curls: Type.Array(Type.Number(), {
        minItems: FINGERS.length,
        maxItems: FINGERS.length,
        description: 'Curl of each finger, thumb first: 0 open, 1 closed.',
      }),
    },
    'What the sensors say now; 60 times a second at most.',
  ),
  ack: message(
    'ack',
    {
      id,
      for: Type.String({ description: 'Type of the message that is answered.' }),
      timeUs: microseconds("The service's clock."),
      rateHz: Type.Optional(Type.Number({ description: 'subscribe: the rate granted.' })),
      armed: Type.Optional(Type.Boolean()),
      echoUs: Type.Optional(Type.Number({ description: 'ping: the timeUs of the app.' })),
      caution: Type.Optional(Type.String({ description: 'arm: what the wearer must know.' })),
      limited: Type.Optional(
        Type.String({ description: 'The request stands, but is limited for this reason.' }),
      ),
    },
    'The request was taken.',
  ),
  error: message(
    'error',
    {
      id,
      code: Type.String(),
      message: Type.String({ description: 'What, where and what to do.' }),
      path: Type.Optional(Type.String({ description: 'JSON pointer to what is wrong.' })),
    },
    'The request was refused; the connection goes on.',
  ),
} as const;
export type ServerMessageType = keyof typeof ServerMessages;
export type ServerMessageOf<T extends ServerMessageType> = Static<(typeof ServerMessages)[T]>;
export type ServerMessage = { [T in ServerMessageType]: ServerMessageOf<T> }[ServerMessageType];
