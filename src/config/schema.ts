import { type Static, type TObject, type TSchema, type TUnion, Type } from '@sinclair/typebox';
import { FINGERS, HAND_SIDES } from '../hand/joints.js';
import { ACTUATOR_KIND, ACTUATOR_ROLE, CHANNEL_ROLE } from '../protocol/link-table.js';

/**
 * The profile: everything that is particular to one maker's gloves and one wearer, as YAML.
 * One source for the type (`Profile`), the validation, the JSON Schema for editors and the documentation.
 * A key with a default may be left out; loading fills it in, so `Profile` always has it.
 */

const literals = <T extends string>(values: readonly T[], description: string, options: object = {}) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values], description, ...options });
const keysOf = <T extends object>(table: T) => Object.keys(table) as (keyof T & string)[];
const closed = { additionalProperties: false } as const;
const object = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { ...closed, description });
/** An object that may be left out whole: ajv then fills in its members' defaults. */
const section = <T extends Record<string, TSchema>>(properties: T, description: string) =>
  Type.Object(properties, { ...closed, default: {}, description });
/**
 * One of several objects told apart by `kind`. Validation goes straight to the chosen kind, so that a mistake
 * is reported for that kind alone and its defaults are filled in.
 */
const kinds = <T extends TObject[]>(variants: [...T], description: string, options: object = {}) =>
  Type.Unsafe<Static<TUnion<T>>>({
    type: 'object',
    discriminator: { propertyName: 'kind' },
    oneOf: variants,
    description,
    ...options,
  });
const number = (description: string, options: object = {}) => Type.Number({ description, ...options });
const integer = (description: string, options: object = {}) => Type.Integer({ description, ...options });

const usb = Type.Optional(
  object(
    {
      vendor: Type.Optional(
        Type.String({ description: 'USB vendor id, four hex digits.', pattern: '^[0-9a-fA-F]{4}$' }),
      ),
      product: Type.Optional(
        Type.String({ description: 'USB product id, four hex digits.', pattern: '^[0-9a-fA-F]{4}$' }),
      ),
      serial: Type.Optional(Type.String({ description: 'USB serial number.' })),
    },
    'Find the port by its USB identity instead of its path.',
  ),
);

export const LinkSchema = kinds(
  [
    object(
      {
        kind: Type.Literal('serial'),
        path: Type.Optional(Type.String({ description: 'Port, such as /dev/ttyUSB0 or COM3.' })),
        usb,
        baud: integer('Bits a second.', { default: 115200, minimum: 1200, maximum: 4_000_000 }),
        dtr: Type.Optional(
          Type.Boolean({
            description:
              'Drive DTR high or low on opening; left alone when absent (some boards reset on it).',
          }),
        ),
        rts: Type.Optional(
          Type.Boolean({ description: 'Drive RTS high or low on opening; left alone when absent.' }),
        ),
        silentMs: integer('A live link without a byte for this long is lost and reopened.', {
          default: 1000,
          minimum: 50,
          maximum: 60_000,
        }),
      },
      'A serial port. Without `path` and `usb`, every candidate port is asked for a hello.',
    ),
    object(
      {
        kind: Type.Literal('ble'),
        name: Type.Optional(
          Type.String({
            description: 'Advertised name; `Tautline right` or `Tautline left`, after the hand, when absent.',
            minLength: 1,
            maxLength: 40,
          }),
        ),
        address: Type.Optional(
          Type.String({
            description: 'Device address in place of the name; on macOS the identifier that stands for it.',
            minLength: 1,
            maxLength: 40,
          }),
        ),
        silentMs: integer('A live link without a byte for this long is lost and reopened.', {
          default: 2000,
          minimum: 50,
          maximum: 60_000,
        }),
      },
      'A Bluetooth LE glove with the Tautline GATT service.',
    ),
    object(
      {
        kind: Type.Literal('simulated'),
        sampleRateHz: integer('Samples a second.', { default: 500, minimum: 10, maximum: 1000 }),
        seed: integer('Seed of the noise and of the motion.', { default: 1 }),
      },
      'A glove without hardware whose hand moves by itself.',
    ),
  ],
  'How the glove is reached.',
);

/** What a column of a text line may hold besides a channel role. */
export const LINE_COLUMNS = ['timeUs', 'timeMs', 'buttons', 'batteryMv', 'skip'] as const;
export type LineColumn = (typeof LINE_COLUMNS)[number];

export const CodecSchema = kinds(
  [
    object({ kind: Type.Literal('frames') }, 'The Tautline link protocol: COBS frames with a CRC.'),
    object(
      {
        kind: Type.Literal('lines'),
        separator: Type.String({
          description: 'Text between columns.',
          default: ',',
          minLength: 1,
          maxLength: 4,
        }),
        radix: Type.Unsafe<10 | 16>({ enum: [10, 16], default: 10, description: 'Base of the numbers.' }),
        header: Type.Boolean({
          description: 'The first line names the columns: it is passed over and is no fault.',
          default: false,
        }),
        columns: Type.Array(Type.String({ maxLength: 40 }), {
          description:
            'What each column holds, by position: a channel role, `timeUs`, `timeMs`, `buttons`, `batteryMv`, or `skip`.',
          minItems: 1,
          maxItems: 64,
        }),
        sampleRateHz: number('Lines a second, for gloves that send no time.', {
          default: 100,
          minimum: 1,
          maximum: 2000,
        }),
        output: Type.Optional(
          Type.String({
            description:
              'Line that commands the actuators; {index.stop} 0..1, {index.effort} 0..1, {index.us} µs and so on are replaced.',
            maxLength: 400,
          }),
        ),
        release: Type.Optional(
          Type.String({
            description: 'Line that frees every finger; the output line with free values when absent.',
          }),
        ),
      },
      "Delimited text lines, for gloves that keep their maker's own firmware.",
    ),
  ],
  'How bytes become samples.',
  { default: { kind: 'frames' } },
);

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
        description: 'Points [counts, curl] in between, monotone; joined by PCHIP.',
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
    stopAtOpen: number('Wire stop (0..1) that just tautens the string with the finger open.', {
      default: 0,
      minimum: 0,
      maximum: 1,
    }),
    stopAtClosed: number('Wire stop (0..1) that just tautens the string with the finger closed.', {
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
    torqueControl: Type.Boolean({
      description:
        'The drive limits its torque to the effort. A hobby servo does not: it holds with all it has or is free, ' +
        'and is let go where less would be permitted.',
      default: false,
    }),
    speedCurlPerS: number('Speed of the actuator in finger curl a second.', {
      default: 5,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
    stallCurrentA: number('Supply current at full effort.', { default: 0.7, minimum: 0, maximum: 50 }),
    maxHoldS: number('Longest time at full effort before it fades.', {
      default: 10,
      minimum: 0.1,
      maximum: 600,
    }),
    coolS: number('Thermal time constant.', { default: 30, minimum: 1, maximum: 3600 }),
    servoUs: Type.Optional(
      Type.Tuple(
        [Type.Integer({ minimum: 400, maximum: 2600 }), Type.Integer({ minimum: 400, maximum: 2600 })],
        {
          description: 'Pulse at wire stop 0 and 1, for the text codec.',
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
    beta: number('Rise of the cut-off with speed (per full range a second): higher is less late.', {
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
      description: 'The outputs, in the order of the glove.',
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
      'What is done about fits that wander while the glove is worn.',
    ),
    controls: section(
      {
        stickDeadZone: number('Part of the stick travel that reads 0.', {
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
            'All fingers stretched out straight for this long disarm the glove: a sign that needs no button and that held fingers can make. Off when absent.',
            { minimum: 0.5, maximum: 10 },
          ),
        ),
        armPressS: number('How long the `arm` button of `buttons` is held down to arm.', {
          default: 1.5,
          minimum: 0.5,
          maximum: 10,
        }),
        armFists: Type.Optional(
          integer(
            'So many fists in quick succession, then the open hand, arm the glove: a sign for a wearer who sees neither page nor button. Off when absent; needs all five fingers measured.',
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
    defaultTtlMs: integer('Life of a request that names none.', { default: 250, minimum: 20, maximum: 1000 }),
    maxTtlMs: integer('Longest life of a request.', { default: 1000, minimum: 20, maximum: 1000 }),
    staleMs: integer('Samples older than this release everything.', {
      default: 100,
      minimum: 20,
      maximum: 1000,
    }),
    maxSupplyA: number('Current budget over all actuators of a glove.', {
      default: 4,
      exclusiveMinimum: 0,
      maximum: 100,
    }),
  },
  'Limits that no app can lift.',
);

/** What an app may be permitted beyond seeing the hand and letting go, which everybody may. */
export const APP_PERMISSIONS = ['resist', 'record', 'arm', 'guide'] as const;
export type AppPermission = (typeof APP_PERMISSIONS)[number];
/** What any app may be permitted. To arm takes a name and a token. */
export const ANY_APP_PERMISSIONS = ['resist', 'record', 'guide'] as const satisfies readonly AppPermission[];

/** What a token is, in the profile or in a file of its own. */
export const TOKEN = { minLength: 16, maxLength: 256, pattern: '^[!-~]*$' } as const;
const token = (description: string) => Type.String({ description, ...TOKEN });
const permissionList = (description: string, options: object = {}) =>
  Type.Array(
    literals(
      APP_PERMISSIONS,
      "`resist`: put forces on fingers; `record`: record, replay and remove sessions; `arm`: arm in the wearer's place, which needs a token; `guide`: lead a check or a fit.",
    ),
    { description, uniqueItems: true, ...options },
  );

export const PermissionsSchema = section(
  {
    anyApp: permissionList(
      'What apps may that are not listed below; everything but `arm` when absent. `arm` takes a line of its own with a token.',
      { default: [...ANY_APP_PERMISSIONS] },
    ),
    apps: Type.Array(
      object(
        {
          name: Type.String({
            description:
              "Name that the app gives itself; `http` stands for HTTP requests that prove nothing, such as those of a script. The page and the command line prove that they are the wearer's and may do everything.",
            minLength: 1,
            maxLength: 40,
          }),
          may: permissionList('What it may.'),
          token: Type.Optional(
            token('Secret of this app alone: it proves the name, which nobody else can then use.'),
          ),
        },
        'One app.',
      ),
      { description: 'Apps that may do more or less than any app.', default: [], maxItems: 64 },
    ),
  },
  'Who may do what. Without app tokens a name is what a program says of itself: good against mistakes, not against malice.',
);

export const StreamSchema = section(
  {
    host: Type.String({ description: 'Address to listen on.', default: '127.0.0.1' }),
    port: integer('Port; 0 picks a free one.', { default: 7117, minimum: 0, maximum: 65535 }),
    origins: Type.Array(Type.String(), {
      description: 'Web origins besides our own page that may connect.',
      default: [],
    }),
    maxClients: integer('Most connections at once.', { default: 64, minimum: 1, maximum: 1024 }),
    token: Type.Optional(token('Secret that apps must give; needed on addresses other than loopback.')),
    tokenFile: Type.Optional(
      Type.String({
        description:
          'File that holds the token, in place of `token`: relative to the profile, and readable by you alone (mode 0600).',
        minLength: 1,
        maxLength: 1000,
      }),
    ),
    permissions: PermissionsSchema,
  },
  'The WebSocket that apps connect to.',
);

export const WearerSchema = section(
  {
    name: Type.Optional(Type.String({ description: 'Who wears it, for the fit files.', maxLength: 40 })),
    handLengthMm: number('Wrist crease to middle finger tip.', { default: 189, minimum: 100, maximum: 300 }),
    handBreadthMm: number('Across the four knuckles.', { default: 85, minimum: 50, maximum: 150 }),
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
export type WearerProfile = Static<typeof WearerSchema>;
