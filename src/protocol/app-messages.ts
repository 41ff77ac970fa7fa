import { type Static, Type } from '@sinclair/typebox';
import { FINGERS } from '../hand/joints.js';
import { STREAMS } from './constants.js';
import {
  HandSchema,
  id,
  layer,
  literals,
  message,
  metres,
  perFinger,
  quaternion,
  record,
  ttlMs,
  unit,
  vector,
} from './message-parts.js';
import { OpenxrMessage } from './openxr-message.js';
import { WORLDS } from './wrist-report.js';

/** What an app sends. */

/** Faster than any hand: what moves so is no more believed. */
const speed = Type.Number({ minimum: -50, maximum: 50 });
const speeds = (description: string) => Type.Tuple([speed, speed, speed], { description });

/** Most parts of a compound, and most points of all its hulls together. */
export const MAX_PARTS = 16;
export const MAX_COMPOUND_POINTS = 512;
/** Most points of a hull. */
export const MAX_HULL_POINTS = 256;

const CONVEX_SHAPES = [
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
    'A capsule along its y axis; `length` is between the centres of its caps, so it is `length` + 2 × `radius` long.',
  ),
  record(
    { kind: Type.Literal('cylinder'), radius: metres('Radius.'), length: metres('Along y.') },
    'A cylinder along its y axis; `length` is from end to end.',
  ),
  record({ kind: Type.Literal('halfSpace') }, 'Everything below the plane y = 0 of its pose.'),
  record(
    {
      kind: Type.Literal('hull'),
      points: Type.Array(vector('Point.'), { minItems: 4, maxItems: MAX_HULL_POINTS }),
    },
    `The convex hull of 4 to ${MAX_HULL_POINTS} points, which must enclose a volume.`,
  ),
] as const;

export const ConvexShapeSchema = Type.Union([...CONVEX_SHAPES], { description: 'A convex shape.' });

const CompoundSchema = record(
  {
    kind: Type.Literal('compound'),
    parts: Type.Array(
      record(
        {
          shape: ConvexShapeSchema,
          position: Type.Optional(vector('Position of the part in the compound, m; 0 when absent.')),
          orientation: Type.Optional(quaternion),
        },
        'A part.',
      ),
      { minItems: 1, maxItems: MAX_PARTS },
    ),
  },
  `The union of 1 to ${MAX_PARTS} convex parts, each \`{ shape, position, orientation }\` in the frame of the compound: a cup, a ring, a tool. A triangle mesh is touched by its convex parts: decompose it in the app, and send each part as a \`hull\` of its vertices; all hulls of a compound have ${MAX_COMPOUND_POINTS} points at most.`,
);

export const ShapeSchema = Type.Union([...CONVEX_SHAPES, CompoundSchema], {
  description: 'What is touched.',
});

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
      restHz: Type.Optional(
        Type.Number({
          minimum: 1,
          maximum: 10_000,
          description:
            'Poses and signals a second that do while the hand rests: while, for 2 s, no skin of it has moved by 0.5 mm, no channel by a hundredth of its range, and every finger is known as before. The first move comes at once, and all that follow. As many as of a hand that moves when absent.',
        }),
      ),
      velocities: Type.Optional(Type.Boolean({ description: 'Add joint velocities to the poses.' })),
      surface: Type.Optional(
        Type.Boolean({
          description:
            'Show fingers that touch a shape resting on its surface, where they are measured some millimetres inside it, and say how firmly each presses. Velocities stay those measured.',
        }),
      ),
      predictMs: Type.Optional(
        Type.Number({
          minimum: 0,
          maximum: 50,
          description:
            'Predict poses by this time, taken to the nearest millisecond, for the delay until they are shown. `poseTimeUs` then says what time they are for.',
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
      linearVelocity: Type.Optional(
        speeds(
          'm/s, in the frame of the pose: the shape moves on by it until it is renewed. At rest when absent.',
        ),
      ),
      angularVelocity: Type.Optional(
        speeds('rad/s, about the origin of the shape, in the frame of the pose.'),
      ),
      effort: Type.Optional(unit('Part of the permitted maximum; 1 when absent.')),
      stiffness: Type.Optional(
        Type.Number({
          exclusiveMinimum: 0,
          maximum: 1e6,
          description: 'N/m at the surface; hard when absent.',
        }),
      ),
      friction: Type.Optional(
        Type.Number({
          minimum: 0,
          maximum: 4,
          description:
            'Coefficient of friction between skin and surface, by which `gestures` says whether the hand would carry it; 0.6 when absent. It changes no force.',
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
    'Say what is touched; each finger is stopped at its surface. Renew it before it expires. One whose `effort` is 0 asks for no force: it is taken also while the glove is disarmed, for the contacts that it gives.',
  ),
  release: message('release', { id, hand: Type.Optional(HandSchema), layer }, "Drop this app's requests."),
  pulse: message(
    'pulse',
    {
      id,
      hand: HandSchema,
      finger: Type.Optional(literals([...FINGERS, 'palm'] as const, 'Which; every one when absent.')),
      amplitude: unit('Of the permitted maximum.'),
      durationMs: Type.Integer({
        minimum: 0,
        maximum: 2000,
        description: '0 ends what is left of an earlier pulse.',
      }),
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
      position: vector('In world space, m.'),
      orientation: quaternion,
      of: Type.Optional(
        literals(
          ['wrist', 'tracker'] as const,
          'What the pose is of: the wrist itself, or what is strapped to the hand (the grip pose of a controller, or a tracker), which the mount that was fitted carries to the wrist. The wrist when absent.',
        ),
      ),
      world: Type.Optional(
        literals(
          WORLDS,
          'Which space of OpenXR the pose is in. local: its origin is where the head was, at the height of the head. localFloor: the same, on the floor. stage: the middle of the play space, on the floor; WebXR calls it bounded-floor. `health.wrist.world` passes it on.',
        ),
      ),
      timeUs: Type.Optional(
        Type.Number({
          description: "When the hand was there, by the service's clock (see ping); on arrival when absent.",
        }),
      ),
      delayMs: Type.Optional(
        Type.Number({
          minimum: -50,
          maximum: 200,
          description:
            'How much older the pose is than its time says, until the service can tell it from the motion itself; 0 when absent.',
        }),
      ),
      ttlMs: Type.Optional(
        Type.Integer({
          minimum: 1,
          maximum: 10_000,
          description:
            '1000 when absent. An app that has sent often is taken to have stopped after 150 ms without a pose.',
        }),
      ),
    },
    'Where the wrist or a tracker on it is, from an app that knows it: joints then come in world space. World space is what the app makes it, +Y up, metres, and `world` says which space that is; all apps of one hand, and of both hands, must mean the same one.',
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
  openxr: OpenxrMessage,
} as const;
export type AppMessageType = keyof typeof AppMessages;
export type AppMessageOf<T extends AppMessageType> = Static<(typeof AppMessages)[T]>;
export type AppMessage = { [T in AppMessageType]: AppMessageOf<T> }[AppMessageType];
export type Shape = Static<typeof ShapeSchema>;
export type ConvexShape = Static<typeof ConvexShapeSchema>;
