import { Type } from '@sinclair/typebox';
import { FINGERS, HAND_SIDES } from '../hand/joints.js';
import { ACTUATOR_KIND, ACTUATOR_ROLE, CHANNEL_ROLE } from '../protocol/link-table.js';
import { CodecSchema, LinkSchema } from './schema-link.js';
import { closed, integer, keysOf, literals, number, object, section } from './schema-parts.js';

/** One glove: sensors, outputs, buttons, filter, controls. */

export const ChannelSchema = object(
  {
    role: literals(keysOf(CHANNEL_ROLE), 'What the channel senses.'),
    open: number('Counts with the finger open (for a stick: at one end; for splay: fingers together).'),
    closed: number('Counts with the finger closed (for a stick: at the other end; for splay: spread).'),
    centre: Type.Optional(number('Counts at rest, for a stick or a splay channel.')),
    bits: integer('Bits of the converter.', { default: 12, minimum: 6, maximum: 16 }),
    inverted: Type.Boolean({ description: 'Swap the meaning of `open` and `closed`.', default: false }),
    curve: Type.Optional(
      Type.Array(Type.Tuple([Type.Number(), Type.Number()]), {
        description: 'Points [counts, curl] in between, monotone; interpolated by PCHIP.',
        maxItems: 16,
      }),
    ),
    string: Type.Optional(
      object(
        {
          spoolRadiusMm: number('Radius of the spool that the string winds on.', {
            exclusiveMinimum: 0,
            maximum: 100,
          }),
          electricalTravelDeg: number('Rotation over which the potentiometer reads 0 to full scale.', {
            default: 270,
            exclusiveMinimum: 0,
            maximum: 36000,
          }),
          heightsMm: Type.Optional(
            Type.Tuple(
              [Type.Number({ minimum: 0 }), Type.Number({ minimum: 0 }), Type.Number({ minimum: 0 })],
              {
                description: 'Height of the string over MCP, PIP and DIP (thumb: CMC, MCP, IP).',
              },
            ),
          ),
        },
        'The sensor is a potentiometer on a retracting string: solve joint angles from its travel.',
      ),
    ),
  },
  'One sensor input.',
);

export const ActuatorSchema = object(
  {
    role: literals(keysOf(ACTUATOR_ROLE), 'What the actuator acts on.'),
    kind: literals(keysOf(ACTUATOR_KIND), 'How it acts.', { default: 'stringStop' }),
    stopAtOpen: number('Wire stop (0..1) at which the string is just taut with the finger open.', {
      default: 0,
      minimum: 0,
      maximum: 1,
    }),
    stopAtClosed: number('Wire stop (0..1) at which the string is just taut with the finger closed.', {
      default: 1,
      minimum: 0,
      maximum: 1,
    }),
    slack: number('Curl by which a free string is paid out beyond the finger.', {
      default: 0.05,
      minimum: 0,
      maximum: 0.5,
    }),
    stallTorqueNm: number(
      'Torque at full effort, below 1 N·m. Data sheets of servos give kg·cm: 1.5 kg·cm is 0.147 N·m.',
      { default: 0.15, exclusiveMinimum: 0, maximum: 1000 },
    ),
    spoolRadiusMm: number('Radius at which the string pulls, from the axis to the string.', {
      default: 20,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
    giveMmPerN: number(
      'How far a finger goes on past its stop for each newton at the string, mm of string: line, thimble, fabric and ' +
        'servo give. A touched surface is met with that in mind. 0: nothing gives.',
      { default: 0.28, minimum: 0, maximum: 5 },
    ),
    torqueControl: Type.Boolean({
      description:
        'The drive can limit its torque to the effort. A hobby servo cannot: it holds with full force or not at all, ' +
        'and is released where less would be permitted.',
      default: false,
    }),
    speedCurlPerS: number('Speed of the actuator, finger curl a second.', {
      default: 5,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
    stallCurrentA: number('Supply current at full effort.', { default: 0.7, minimum: 0, maximum: 50 }),
    maxHoldS: number('Longest time at full effort; after it, effort fades.', {
      default: 10,
      minimum: 0.1,
      maximum: 600,
    }),
    coolS: number('Thermal time constant.', { default: 30, minimum: 1, maximum: 3600 }),
    servoUs: Type.Optional(
      Type.Tuple(
        [Type.Integer({ minimum: 400, maximum: 2600 }), Type.Integer({ minimum: 400, maximum: 2600 })],
        {
          description: 'Servo pulse at wire stop 0 and 1, µs, for text lines.',
        },
      ),
    ),
  },
  'One actuator output.',
);

export const FilterSchema = section(
  {
    minCutoffHz: number('Cut-off at rest: lower is steadier.', {
      default: 2,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
    beta: number('Rise of the cut-off with speed (per full range a second): higher means less lag.', {
      default: 3,
      minimum: 0,
      maximum: 1000,
    }),
    derivativeCutoffHz: number('Cut-off of the speed estimate.', {
      default: 2,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
  },
  'One Euro filter of every channel.',
);

/**
 * Buttons by the last part of their OpenXR input path; `disarm` is the wearer's own emergency release.
 * A press of `disarm` takes all force away at once.
 */
export const BUTTONS = [
  'a',
  'b',
  'x',
  'y',
  'menu',
  'thumbstick',
  'trigger',
  'squeeze',
  'thumbrest',
  'disarm',
  'arm',
] as const;
export type ButtonName = (typeof BUTTONS)[number];

export const GloveSchema = object(
  {
    name: Type.String({ description: 'Your name for the glove.', minLength: 1, maxLength: 40 }),
    hand: literals(HAND_SIDES, 'Which hand it is worn on.'),
    link: LinkSchema,
    codec: CodecSchema,
    channels: Type.Array(ChannelSchema, {
      description: 'The sensors, in the order that the glove sends them.',
      maxItems: 32,
    }),
    actuators: Type.Array(ActuatorSchema, {
      description: 'The outputs, in the order that the glove expects them.',
      maxItems: 8,
      default: [],
    }),
    buttons: Type.Unsafe<Record<string, number>>(
      Type.Object(
        Object.fromEntries(
          BUTTONS.map((name) => [
            name,
            Type.Optional(Type.Integer({ description: `Bit of \`${name}\`.`, minimum: 0, maximum: 15 })),
          ]),
        ),
        { ...closed, description: 'Bit of each button in the `buttons` field of a sample.', default: {} },
      ),
    ),
    forearmMm: Type.Optional(
      number(
        'From elbow to wrist. Without a tracker, a glove with an orientation sensor (`wrist.qx` to `wrist.qw`) then moves the hand at the end of the forearm, about an elbow that stays put, instead of turning it on the spot. Off when absent.',
        { minimum: 100, maximum: 400 },
      ),
    ),
    filter: FilterSchema,
    drift: section(
      {
        follow: Type.Boolean({
          description: 'Follow, slowly and within bounds, a string that stretches or a glove that slips.',
          default: true,
        }),
        rezeroGesture: Type.Boolean({
          description: 'A fist, then the open hand held still for 1.5 s, resets what counts as open.',
          default: true,
        }),
      },
      'What to do about fits that drift while the glove is worn.',
    ),
    controls: section(
      {
        stickDeadZone: number('Part of the stick travel around its centre that reads 0.', {
          default: 0.12,
          minimum: 0,
          maximum: 0.9,
        }),
        debounceMs: number('A button must be steady for this long.', {
          default: 8,
          minimum: 0,
          maximum: 500,
        }),
        fingerStick: Type.Boolean({
          description:
            'Without a thumbstick, let the index finger be one while middle, ring and little finger make a fist: splay is left and right, curl forward and back, from where it was when the fist closed.',
          default: false,
        }),
        disarmStretchS: Type.Optional(
          number(
            'All fingers stretched out straight for this long disarm the glove: a gesture that needs no button and that held fingers can make. Off when absent.',
            { minimum: 0.5, maximum: 10 },
          ),
        ),
        armPressS: number('How long the button `arm` must be held down to arm.', {
          default: 1.5,
          minimum: 0.5,
          maximum: 10,
        }),
        armFists: Type.Optional(
          integer(
            'This many fists in quick succession, then the open hand, arm the glove: a gesture for wearers who see neither page nor button. Off when absent; needs sensors on all five fingers.',
            { minimum: 3, maximum: 6 },
          ),
        ),
        triggerFinger: literals(
          FINGERS,
          'Finger whose curl is the trigger when there is no trigger channel.',
          {
            default: 'index',
          },
        ),
      },
      'Inputs for apps without hand support.',
    ),
  },
  'One glove.',
);
