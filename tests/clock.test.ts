import { describe, expect, it } from 'vitest';
import { untilNextMs } from '../src/clock.js';

describe('until the next multiple of a period', () => {
  it('brings all who begin at any time to the same moments, and is never longer than the period', () => {
    for (let beganUs = 0; beganUs < 60_000; beganUs += 317) {
      const waitMs = untilNextMs(beganUs, 20);
      expect(Number.isInteger(waitMs)).toBe(true);
      expect(waitMs).toBeGreaterThan(0);
      expect(waitMs).toBeLessThanOrEqual(20);
      expect((Math.round(beganUs / 1000) + waitMs) % 20).toBe(0);
    }
  });

  it('is what is left of a period after a timer that was early or late', () => {
    expect(untilNextMs(39_200, 20)).toBe(1);
    expect(untilNextMs(40_000, 20)).toBe(20);
    expect(untilNextMs(41_400, 20)).toBe(19);
  });
});
