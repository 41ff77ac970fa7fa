import { type Static, Type } from '@sinclair/typebox';
import { FINGERS, JOINT_COUNT } from '../hand/joints.js';
import { GESTURES, STREAM_PROTOCOL } from './constants.js';
import { FAULTS_IN_WORDS } from './glove-faults.js';
import { EVENT_REASONS, LIMITS, LIMITS_TOLD } from './limits.js';
import { ACTUATOR_KIND, ACTUATOR_ROLE, CHANNEL_ROLE } from './link-table.js';
import { HandSchema, id, keysOf, literals, message, perFinger, record, vector } from './message-parts.js';
import {
  fingerStates,
  GESTURE_MEANING,
  type GestureState,
  linkStatus,
  microseconds,
} from './server-message-parts.js';
import { WristReportSchema } from './wrist-report.js';

/** What the service sends. */

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
                  heedsEffort: Type.Optional(
                    Type.Boolean({
                      description:
                        'Its force follows the effort asked for. False: it holds with all it may, or is free. Absent of what holds no finger.',
                    }),
                  ),
                  speedCurlPerS: Type.Optional(
                    Type.Number({
                      description: 'Speed of a string stop, finger curl a second, as the profile has it.',
                    }),
                  ),
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
            mount: Type.Optional(
              Type.Array(Type.Number(), {
                minItems: 7,
                maxItems: 7,
                description:
                  'Where the wrist is in the frame of the grip pose or tracker on it, as fitted: [x, y, z, qx, qy, qz, qw]. Absent: not fitted.',
              }),
            ),
            wrist: Type.Optional(WristReportSchema),
            feel: Type.Optional(
              record(
                {
                  effort: Type.Optional(Type.Number({ description: 'Part of the effort asked for, 0..1.' })),
                  stiffnessNPerM: Type.Optional(
                    Type.Number({ description: 'No touched surface feels harder than this.' }),
                  ),
                  texture: Type.Optional(
                    Type.Number({ description: 'Part of the texture asked for, 0..1.' }),
                  ),
                  knock: Type.Optional(
                    Type.Number({ description: 'Part of the amplitude and length of pulses, 0..1.' }),
                  ),
                  slack: Type.Optional(
                    Type.Number({ description: 'Curl by which a free string is paid out, of text gloves.' }),
                  ),
                },
                "The wearer's own settings, as found by trial: they take away from what apps ask for. Absent: none.",
              ),
            ),
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
      poseTimeUs: Type.Optional(
        microseconds(
          'Time that the poses are predicted for: `timeUs` and the `predictMs` of the subscription. Absent: they are those of `timeUs`.',
        ),
      ),
      space: literals(
        ['wrist', 'world'],
        'Frame of the poses. wrist: the wrist is the origin, or, with a forearm in the profile (`health.wrist.forearmMm`), moves about a still elbow near it.',
      ),
      valid: Type.Boolean({
        description: 'False while the link is silent: the poses are then the last known.',
      }),
      recorded: Type.Optional(
        Type.Literal(true, {
          description: 'A session is replayed: it is no hand of now. Absent: it is the glove itself.',
        }),
      ),
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
          description:
            '26 × [vx, vy, vz, wx, wy, wz], m/s and rad/s, of the moment `timeUs`: what filters are late is made up for, and over a session they are within 10 % (root mean square) of central differences of the poses. In the world they contain the motion of the wrist; around the wrist it counts as still.',
        }),
      ),
      pressures: Type.Optional(
        Type.Array(Type.Number({ minimum: 0, maximum: 1 }), {
          minItems: 5,
          maxItems: 5,
          description:
            'How firmly each finger presses on what it touches, thumb first: 0 not at all, 0.5 where it is measured 5 mm inside the surface, rising towards 1. Only with `surface`: the poses then have it rest on the surface.',
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
            limits: Type.Array(literals(LIMITS, 'One of them.'), {
              description: `Why less is given than was asked; empty while everything asked for is given. ${LIMITS_TOLD}`,
            }),
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
              reason: literals(
                EVENT_REASONS,
                'One of the `limits` began to act, with the meaning it has there; `armed`: the glove was armed.',
              ),
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
      faults: Type.Array(Type.String(), {
        description: `Faults that the glove reports: ${FAULTS_IN_WORDS}.`,
      }),
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
      wrist: Type.Optional(WristReportSchema),
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
  gestures: message(
    'gestures',
    {
      hand: HandSchema,
      timeUs: microseconds('Time of the sample.'),
      valid: Type.Boolean({ description: 'False while the hand is not known: no gesture is then made.' }),
      states: Type.Object(
        Object.fromEntries(
          GESTURES.map((name) => [
            name,
            record(
              {
                active: Type.Boolean({ description: 'It is being made.' }),
                sinceUs: Type.Optional(
                  microseconds('When it began or ended; absent: not since the hand has been known.'),
                ),
              },
              GESTURE_MEANING[name],
            ),
          ]),
        ) as Record<(typeof GESTURES)[number], typeof GestureState>,
        {
          additionalProperties: false,
          description:
            'Each begins at one threshold and ends at another, and lasts 60 ms at least, so that none flickers.',
        },
      ),
      touches: Type.Array(
        record(
          {
            by: Type.String({ description: 'Id of the app that touches it (`welcome.app`).' }),
            layer: Type.Optional(Type.String({ description: 'Its layer.' })),
            fingers: Type.Array(literals(FINGERS, 'Which.'), { description: 'Fingers at its surface.' }),
            carried: Type.Boolean({
              description:
                'Two of these fingers press against each other through it, each inside the cone of friction of the other: lifted, it would come along.',
            }),
          },
          'A thing that is touched.',
        ),
        { description: 'What fingers are at, of all apps.' },
      ),
    },
    'What the hand is doing; sent on change. The first three follow the input values of the same names in OpenXR (XR_EXT_hand_interaction).',
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
