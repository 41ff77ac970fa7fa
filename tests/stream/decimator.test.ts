import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { grantRate, Phase } from '../../src/stream/decimator.js';

/** Times of the samples picked from `seconds` of samples at `sampleHz`, each off by up to `jitterUs`. */
function pick(rateHz: number, sampleHz: number, seconds: number, jitterUs = 0, realHz = sampleHz): number[] {
  const phase = new Phase(rateHz, sampleHz);
  const picked: number[] = [];
  let noise = 1;
  for (let i = 0; i < seconds * realHz; i++) {
    noise = (noise * 48_271) % 0x7fff_ffff;
    const timeUs = (i * 1e6) / realHz + (noise / 0x7fff_ffff - 0.5) * 2 * jitterUs;
    if (phase.take(timeUs)) picked.push(timeUs);
  }
  return picked;
}
const meanRate = (times: number[]) => ((times.length - 1) * 1e6) / (times.at(-1)! - times[0]);

describe('decimation on sample time', () => {
  test.each([60, 72, 90, 120, 144, 250, 333, 499])(
    '%i Hz out of 500 Hz is exact within 0.1 percent',
    (rateHz) => {
      const times = pick(rateHz, 500, 20);
      expect(Math.abs(meanRate(times) / rateHz - 1)).toBeLessThan(0.001);
      // As even as the samples permit: no spacing is off by a whole sample or more.
      const spacings = times.slice(1).map((time, i) => time - times[i]);
      for (const spacing of spacings) expect(Math.abs(spacing - 1e6 / rateHz)).toBeLessThan(2000);
    },
  );

  test('any rate out of any sample rate, with jitter, is exact within 0.1 %', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 10, max: 1000, noNaN: true }),
        fc.double({ min: 0.05, max: 0.999, noNaN: true }),
        fc.double({ min: 0, max: 0.3, noNaN: true }),
        (sampleHz, part, jitter) => {
          const rateHz = sampleHz * part;
          // Long enough that the last pose's place (half a sample) is well below the tolerance.
          const times = pick(rateHz, sampleHz, 4000 / rateHz, (jitter * 1e6) / sampleHz);
          expect(Math.abs(meanRate(times) / rateHz - 1)).toBeLessThan(0.001);
        },
      ),
      { numRuns: 40 },
    );
  });

  test('half the rate stays even with jitter, though the glove runs 50 ppm off its word', () => {
    const times = pick(250, 500, 200, 100, 500 * 1.00005);
    const uneven = times.slice(1).filter((time, i) => Math.abs(time - times[i] - 4000) > 500);
    expect(uneven.length).toBeLessThan(3);
  });

  test('at the rate of the samples or above, or without a rate, every sample is taken', () => {
    for (const rateHz of [500, 501, 10_000, 0]) expect(pick(rateHz, 500, 1, 900)).toHaveLength(500);
  });

  test('a pause is followed by no burst', () => {
    const phase = new Phase(50, 500);
    const picked = [0, 2000, 20_000, 1_000_000, 1_002_000, 1_004_000, 1_020_000].filter((t) => phase.take(t));
    expect(picked).toEqual([0, 20_000, 1_000_000, 1_020_000]);
  });

  test('the rate granted', () => {
    expect(grantRate(1000, 500)).toBe(500);
    expect(grantRate(90, 500)).toBe(90);
    expect(grantRate(0, 500)).toBe(500);
    expect(grantRate(90, 0)).toBe(90);
    expect(grantRate(0, 0)).toBe(0);
  });
});
