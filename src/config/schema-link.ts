import { Type } from '@sinclair/typebox';
import { integer, kinds, number, object } from './schema-parts.js';

/** How a glove is reached, and how it talks. */

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
              'Drive DTR high or low on opening (some boards reset on it); left alone when absent.',
          }),
        ),
        rts: Type.Optional(
          Type.Boolean({ description: 'Drive RTS high or low on opening; left alone when absent.' }),
        ),
        silentMs: integer('A live link that delivers no byte for this long counts as lost and is reopened.', {
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
            description: 'Device address, instead of the name; on macOS, the identifier that replaces it.',
            minLength: 1,
            maxLength: 40,
          }),
        ),
        silentMs: integer('A live link that delivers no byte for this long counts as lost and is reopened.', {
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
      'A simulated glove, whose hand moves by itself.',
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
          description: 'The first line names the columns and is skipped.',
          default: false,
        }),
        columns: Type.Array(Type.String({ maxLength: 40 }), {
          description:
            'What each column holds, by position: a channel role, `timeUs`, `timeMs`, `buttons`, `batteryMv`, or `skip`.',
          minItems: 1,
          maxItems: 64,
        }),
        sampleRateHz: number('Lines a second, for gloves that send no timestamps.', {
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
