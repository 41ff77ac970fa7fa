import { describe, expect, it } from 'vitest';
import { untilNextMs } from '../src/clock.js';

describe('until the next multiple of a period', () => {
  it('brings all who begin at any time to the same moments', () => {
    for (let beganUs = 0; beganUs < 60_000; beganUs += 317) {
      const waitMs = untilNextMs(beganUs, 20);
      expect(Number.isInteger(waitMs)).toBe(true);
      expect(waitMs).toBeGreaterThan(2);
      expect(waitMs).toBeLessThanOrEqual(22);
      expect((Math.round(beganUs / 1000) + waitMs) % 20).toBe(0);
    }
  });

  it('is a whole period after a timer that was a little early, or as late as timers are', () => {
    expect(untilNextMs(39_200, 20)).toBe(21);
    expect(untilNextMs(40_000, 20)).toBe(20);
    expect(untilNextMs(41_400, 20)).toBe(19);
  });
});
