import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { FINGERS, JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import { FINGER_STATES } from '../../src/protocol/constants.js';
import { LARGEST, MAX_POSE_FRAME, type PoseMessage } from '../../src/stream/encode.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { encodeJointsJson } from '../../src/stream/encode-json.js';
import { BINARY_LAYOUT, decodeJoints } from '../../src/stream/joints-record.js';

const START = 4;
const buffer = Buffer.alloc(MAX_POSE_FRAME);
const json = (message: PoseMessage) =>
  JSON.parse(buffer.toString('utf8', START, encodeJointsJson(buffer, START, message)));
const binary = (message: PoseMessage) =>
  decodeJoints(buffer.subarray(START, encodeJointsBinary(buffer, START, message)));

const numbers = (length: number, size: number) =>
  fc
    .array(
      fc.oneof(
        fc.double({ min: -size, max: size, noNaN: true }),
        fc.constantFrom(
          0,
          -0,
          1,
          -1,
          0.1,
          9.99999999,
          0.00000005,
          -0.00000004,
          1e-300,
          214.7483647,
          214.7483648,
        ),
      ),
      { minLength: length, maxLength: length },
    )
    .map((values) => Float64Array.from(values));
const messages = fc.record({
  hand: fc.constantFrom('left' as const, 'right' as const),
  seq: fc.nat(0xffff_ffff),
  timeUs: fc.nat(Number.MAX_SAFE_INTEGER - 50_000),
  aheadMs: fc.oneof(fc.constant(0), fc.integer({ min: 0, max: 50 })),
  valid: fc.boolean(),
  recorded: fc.boolean(),
  reason: fc.option(fc.string({ unit: 'binary', maxLength: 400 }), { nil: undefined }),
  space: fc.constantFrom('wrist' as const, 'world' as const),
  fingerStates: fc.array(fc.nat(2), { minLength: 5, maxLength: 5 }).map((states) => Uint8Array.from(states)),
  poses: fc.oneof(numbers(JOINT_COUNT * POSE_STRIDE, 1), numbers(JOINT_COUNT * POSE_STRIDE, LARGEST - 1)),
  pressures: fc.option(
    fc
      .array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 5, maxLength: 5 })
      .map((values) => Float64Array.from(values)),
    { nil: undefined },
  ),
  velocities: fc.option(numbers(JOINT_COUNT * VELOCITY_STRIDE, 1000), { nil: undefined }),
});

describe('encodings of a pose', () => {
  test('say the same: JSON rounded to 1e-7 (velocities 1e-5), binary in float32', () => {
    fc.assert(
      fc.property(messages, (message) => {
        const text = json(message);
        const record = binary(message);
        for (const key of ['hand', 'seq', 'timeUs', 'valid', 'space'] as const) {
          expect(text[key]).toBe(message[key]);
          expect(record[key]).toBe(message[key]);
        }
        expect(text.recorded).toBe(message.recorded ? true : undefined);
        expect(record.recorded).toBe(message.recorded);
        expect(text.poseTimeUs).toBe(
          message.aheadMs > 0 ? message.timeUs + 1000 * message.aheadMs : undefined,
        );
        expect(record.poseTimeUs).toBe(message.timeUs + 1000 * message.aheadMs);
        expect(text.pressures?.length).toBe(message.pressures?.length);
        expect(record.pressures?.length).toBe(message.pressures?.length);
        for (const [i, value] of (message.pressures ?? []).entries()) {
          expect(Math.abs(text.pressures![i] - value)).toBeLessThanOrEqual(0.5001e-4);
          expect(record.pressures![i]).toBe(Math.fround(value));
        }
        const fingers = Object.fromEntries(
          FINGERS.map((finger, i) => [finger, FINGER_STATES[message.fingerStates[i]]]),
        );
        expect(text.fingers).toEqual(fingers);
        expect(record.fingers).toEqual(fingers);
        for (const [values, rows, floats, rounding] of [
          [message.poses, text.poses, record.poses, 0.5e-7],
          [message.velocities, text.velocities, record.velocities, 0.5e-5],
        ] as const) {
          expect(rows === undefined).toBe(values === undefined);
          expect(floats === undefined).toBe(values === undefined);
          const flat = (rows ?? []).flat();
          for (const [i, value] of (values ?? []).entries()) {
            // Besides the rounding, a double itself resolves no better than 2^-52 of its size.
            expect(Math.abs(flat[i] - value)).toBeLessThanOrEqual(
              rounding * 1.000001 + Math.abs(value) * 1e-15,
            );
            expect(floats![i]).toBe(Math.fround(value));
          }
        }
      }),
      { numRuns: 100 },
    );
  });

  test('carry the reason while not valid, and only then, cut to one bounded line', () => {
    const [message] = fc.sample(messages, { numRuns: 1, seed: 1 });
    const silent = { ...message, valid: false, reason: 'No bytes for 1 s: "plug" it in. ⚠' };
    expect(json(silent).reason).toBe(silent.reason);
    expect(binary(silent).reason).toBe(silent.reason);
    expect(json({ ...silent, valid: true })).not.toHaveProperty('reason');
    expect(binary({ ...silent, valid: true }).reason).toBeUndefined();
    expect(json({ ...silent, reason: 'x'.repeat(9999) }).reason).toHaveLength(300);
    expect(binary({ ...silent, reason: 'x'.repeat(9999) }).reason).toHaveLength(300);
  });

  test('refuse a number that is not finite, wherever it is', () => {
    const [message] = fc.sample(
      messages.filter(({ velocities }) => velocities !== undefined),
      { numRuns: 1, seed: 2 },
    );
    for (const bad of [Number.NaN, Infinity, -Infinity, 1e9]) {
      for (const [key, at] of [
        ['poses', 0],
        ['poses', 207],
        ['velocities', 0],
        ['velocities', 155],
      ] as const) {
        const values = Float64Array.from(message[key]!);
        values[at] = bad;
        expect(encodeJointsJson(buffer, START, { ...message, [key]: values })).toBe(-1);
        expect(encodeJointsBinary(buffer, START, { ...message, [key]: values })).toBe(-1);
      }
    }
  });

  test('the binary layout is what its table says', () => {
    const [message] = fc.sample(
      messages.filter(({ velocities }) => velocities !== undefined),
      { numRuns: 1, seed: 3 },
    );
    const end = encodeJointsBinary(buffer, START, {
      ...message,
      hand: 'right',
      valid: true,
      space: 'world',
      pressures: undefined,
    });
    expect(end - START).toBe(20 + 26 * 8 * 4 + 26 * 6 * 4);
    const at = (name: string) => START + BINARY_LAYOUT.find((field) => field.name === name)!.offset!;
    expect(buffer.readUInt8(at('kind'))).toBe(1);
    expect(buffer.readUInt8(at('hand'))).toBe(1);
    expect(buffer.readUInt8(at('flags'))).toBe(7);
    expect(buffer.readUInt8(at('jointCount'))).toBe(26);
    expect(buffer.readUInt32LE(at('seq'))).toBe(message.seq);
    expect(buffer.readDoubleLE(at('timeUs'))).toBe(message.timeUs);
    expect(buffer.readUInt16LE(at('fingerStates'))).toBe(
      message.fingerStates.reduce((bits, state, finger) => bits + state * 4 ** finger, 0),
    );
    expect(buffer.readUInt16LE(at('reasonBytes'))).toBe(0);
    expect(buffer.readFloatLE(at('poses') + 4 * 207)).toBe(Math.fround(message.poses[207]));
    expect(buffer.readFloatLE(at('velocities') + 4 * 155)).toBe(Math.fround(message.velocities![155]));
  });

  test('the decoder refuses anything else', () => {
    fc.assert(
      fc.property(messages, fc.nat(2000), (message, cut) => {
        const whole = buffer.subarray(START, encodeJointsBinary(buffer, START, message));
        if (cut < whole.length) expect(() => decodeJoints(whole.subarray(0, cut))).toThrow(RangeError);
      }),
    );
    expect(() => decodeJoints(new Uint8Array(852))).toThrow(RangeError);
    expect(() => decodeJoints(new ArrayBuffer(0))).toThrow(RangeError);
  });
});
