import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { cobsBound, cobsEncode } from '../../src/link/cobs.js';
import type { DeviceState, Hello } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import {
  ACTUATOR_KIND,
  ACTUATOR_ROLE,
  CHANNEL_ROLE,
  FAULT_BIT,
  HAND_CODE,
  MESSAGE,
  TEMPERATURE_UNKNOWN,
} from '../../src/protocol/link-table.js';

/*
 * The frames in vectors.json were written by the firmware's C++ encoder. The TypeScript codec, written apart from
 * it, must read the same fields out of them and write the same bytes.
 */

interface Vector {
  name: string;
  type: number;
  seq: number;
  // biome-ignore lint/suspicious/noExplicitAny: as many shapes as there are messages
  fields: any;
  payload: string;
  frame: string;
}
const vectors = JSON.parse(readFileSync('tests/link/vectors.json', 'utf8')) as {
  messages: Vector[];
  cobs: { name: string; data: string; frame: string }[];
};
const bytesOf = (hex: string) => new Uint8Array(Buffer.from(hex, 'hex'));
const hexOf = (bytes: Uint8Array) => Buffer.from(bytes).toString('hex');
const KNOWN = new Set<number>(Object.values(MESSAGE));

function nameOf<T extends string>(table: Record<T, number>, code: number): T {
  return (Object.keys(table) as T[]).find((name) => table[name] === code)!;
}

// biome-ignore lint/suspicious/noExplicitAny: a row of vectors.json
function helloOf(fields: any): Hello {
  const { protocol, deviceId, firmwareVersion, sampleRateHz } = fields;
  return {
    protocol,
    hand: nameOf(HAND_CODE, fields.hand),
    deviceId,
    firmwareVersion,
    sampleRateHz,
    channels: fields.channels.map((c: { role: number; bits: number }) => ({
      role: nameOf(CHANNEL_ROLE, c.role),
      bits: c.bits,
    })),
    actuators: fields.actuators.map((a: { role: number; kind: number }) => ({
      role: nameOf(ACTUATOR_ROLE, a.role),
      kind: nameOf(ACTUATOR_KIND, a.kind),
    })),
  };
}

// biome-ignore lint/suspicious/noExplicitAny: a row of vectors.json
function stateOf(fields: any): DeviceState {
  const { batteryMv, framesDropped, watchdogTrips, positions, temperatureDeciC, faultBits } = fields;
  return {
    batteryMv,
    ...(temperatureDeciC === TEMPERATURE_UNKNOWN ? {} : { temperatureC: temperatureDeciC / 10 }),
    faults: (Object.keys(FAULT_BIT) as (keyof typeof FAULT_BIT)[]).filter(
      (name) => (faultBits >> FAULT_BIT[name]) & 1,
    ),
    framesDropped,
    watchdogTrips,
    positions,
  };
}

/** Every message that either side reads out of a frame, as [name, value]. */
function read(frame: Uint8Array, fromGlove: boolean): { messages: [string, unknown][]; unknown: number } {
  const messages: [string, unknown][] = [];
  const take = (name: string) => (value?: unknown) => void messages.push([name, value]);
  const side = fromGlove
    ? createFrameCodec({
        hello: take('hello'),
        samples: (s) =>
          messages.push([
            'samples',
            {
              seq: s.seq,
              deviceTimeUs: s.deviceTimeUs,
              buttons: s.buttons,
              channels: [...s.channels.subarray(0, s.channelCount)],
            },
          ]),
        state: take('state'),
        pong: take('pong'),
        note: take('note'),
      })
    : createGloveFrames({
        askHello: take('askHello'),
        resist: (r) => {
          const actuators = Array.from({ length: r.count }, (_, i) => ({
            stop: r.stops[i],
            effort: r.efforts[i],
          }));
          messages.push(['resist', { validForMs: r.validForMs, actuators }]);
        },
        release: take('release'),
        ping: take('ping'),
        rate: take('rate'),
        pulse: (actuator, amplitude, durationMs, frequencyHz) =>
          messages.push(['pulse', { actuator, amplitude, durationMs, frequencyHz }]),
      });
  side.push(frame);
  const { badCrc, malformed, oversize, unknownType } = side.counters;
  expect({ badCrc, malformed, oversize }).toEqual({ badCrc: 0, malformed: 0, oversize: 0 });
  return { messages, unknown: unknownType };
}

/** What read() must give for a vector. */
function expected({ type, seq, fields }: Vector): unknown {
  switch (type) {
    case MESSAGE.hello:
      return helloOf(fields);
    case MESSAGE.samples:
      return { seq, ...fields };
    case MESSAGE.state:
      return stateOf(fields);
    case MESSAGE.note:
      return fields.text;
    case MESSAGE.askHello:
      return fields.protocol;
    case MESSAGE.release:
      return undefined;
    case MESSAGE.ping:
      return fields.token;
    case MESSAGE.rate:
      return fields.sampleRateHz;
    default:
      return fields;
  }
}

/** Writes a vector's message again and again until the sequence number is the vector's. */
function write({ type, seq, fields }: Vector): Uint8Array {
  const ignore = () => {};
  const glove = createGloveFrames({
    askHello: ignore,
    resist: ignore,
    release: ignore,
    ping: ignore,
    rate: ignore,
    pulse: ignore,
  });
  const host = createFrameCodec({
    hello: ignore,
    samples: ignore,
    state: ignore,
    pong: ignore,
    note: ignore,
  });
  const once = (): Uint8Array => {
    switch (type) {
      case MESSAGE.hello:
        return glove.hello(helloOf(fields));
      case MESSAGE.samples:
        return glove.samples(
          fields.deviceTimeUs,
          fields.buttons,
          Uint16Array.from(fields.channels),
          fields.channels.length,
        );
      case MESSAGE.state:
        return glove.state(stateOf(fields));
      case MESSAGE.pong:
        return glove.pong(fields.token, fields.deviceTimeUs);
      case MESSAGE.note:
        return glove.note(fields.text);
      case MESSAGE.askHello:
        return host.askHello();
      case MESSAGE.resist: {
        const rows: { stop: number; effort: number }[] = fields.actuators;
        const stops = Uint16Array.from(rows, (row) => row.stop);
        const efforts = Uint8Array.from(rows, (row) => row.effort);
        return host.resist(fields.validForMs, stops, efforts, rows.length);
      }
      case MESSAGE.release:
        return host.release();
      case MESSAGE.ping:
        return host.ping(fields.token);
      case MESSAGE.rate:
        return host.rate(fields.sampleRateHz);
      case MESSAGE.pulse:
        return host.pulse(fields.actuator, fields.amplitude, fields.durationMs, fields.frequencyHz);
      default:
        throw new Error(`no way to write type ${type}`);
    }
  };
  for (let i = 0; i < seq; i++) once();
  return once();
}

test('there is a vector of every message', () => {
  const types = new Set(vectors.messages.map((vector) => vector.type));
  for (const type of KNOWN) expect(types).toContain(type);
});

describe.each(vectors.messages.filter((vector) => KNOWN.has(vector.type)))('$name', (vector) => {
  test('is read as the firmware means it', () => {
    const { messages } = read(bytesOf(vector.frame), vector.type < 0x80);
    expect(messages).toEqual([[nameOf(MESSAGE, vector.type), expected(vector)]]);
  });
  test('is written as the firmware writes it', () => {
    expect(hexOf(write(vector))).toBe(vector.frame);
  });
});

test.each(vectors.messages.filter((vector) => !KNOWN.has(vector.type)))(
  '$name: counted, skipped',
  (vector) => {
    for (const fromGlove of [true, false]) {
      expect(read(bytesOf(vector.frame), fromGlove)).toEqual({ messages: [], unknown: 1 });
    }
  },
);

test.each(vectors.cobs)('COBS of $name', ({ data, frame }) => {
  const bytes = bytesOf(data);
  const out = new Uint8Array(cobsBound(bytes.length) + 1);
  const length = cobsEncode(bytes, 0, bytes.length, out, 0);
  expect(`${hexOf(out.subarray(0, length))}00`).toBe(frame);
});
