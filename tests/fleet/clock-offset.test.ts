import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createAllowance } from '../../src/fleet/allowance.js';
import { createClockOffset } from '../../src/fleet/clock-offset.js';
import { createLeastLately } from '../../src/fleet/least-lately.js';
import { ntpStateOf } from '../../src/fleet/ntp.js';

describe('the offset of a clock', () => {
  it('is right within the error that is stated, whatever the delays are and however unlike', () => {
    const us = fc.integer({ min: 10, max: 200_000 });
    fc.assert(
      fc.property(
        fc.record({ up: us, broker: fc.integer({ min: 0, max: 50_000 }), down: us, back: us, ours: us }),
        fc.integer({ min: -1e9, max: 1e9 }),
        fc.double({ min: -50e-6, max: 50e-6, noNaN: true }),
        fc.array(fc.integer({ min: 0, max: 1e6 }), { minLength: 4, maxLength: 60 }),
        ({ up, broker, down, back, ours }, offsetUs, drift, queueing) => {
          const clock = createClockOffset();
          // The quickest of them met no queue.
          queueing[0] = 0;
          let nowMs = 0;
          for (const waited of queueing) {
            nowMs += 8000 / queueing.length;
            const trueUs = nowMs * 1000;
            // The station's clock is behind ours by the offset, and drifts.
            const sentUs = trueUs - offsetUs + drift * trueUs;
            clock.add(sentUs, trueUs + up + broker + down + waited, nowMs);
          }
          const read = clock.read(up + back, ours + broker + down, nowMs)!;
          const trueOffset = offsetUs - drift * nowMs * 1000;
          expect(Math.abs(read.offsetUs - trueOffset)).toBeLessThanOrEqual(read.errorUs! + 1);
          expect(read.errorUs).toBeLessThanOrEqual((up + back + ours + broker + down) / 2 + 501);
        },
      ),
    );
  });

  it('has no stated error where a round trip is not known', () => {
    const clock = createClockOffset();
    expect(clock.read(1, 1, 0)).toBeUndefined();
    clock.add(1000, 5000, 0);
    expect(clock.read(0, 100, 0)).toEqual({ offsetUs: 4000 });
    expect(clock.read(100, undefined, 0)).toEqual({ offsetUs: 4000 });
  });
});

it('the least lately is that of a minute', () => {
  const least = createLeastLately(60_000);
  expect(least.read(0)).toBeUndefined();
  least.add(5, 0);
  least.add(9, 30_000);
  expect(least.read(49_000)).toBe(5);
  expect(least.read(61_000)).toBe(9);
  expect(least.read(200_000)).toBeUndefined();
});

it('an allowance is used up, and comes back', () => {
  const allowance = createAllowance(10, 1);
  expect([3, 7, 1].map((amount) => allowance.take(amount, 0))).toEqual([true, true, false]);
  expect([1500, 1600].map((nowMs) => allowance.take(1, nowMs))).toEqual([true, false]);
  expect([1e6].map((nowMs) => allowance.take(11, nowMs))).toEqual([false]);
});

it.each([
  ['yes\n', 'synchronised'],
  ['no\n', 'free'],
  ['', 'unknown'],
  ['NTPSynchronized=yes', 'unknown'],
])('%j is said to be %s', (said, state) => expect(ntpStateOf(said)).toBe(state));
