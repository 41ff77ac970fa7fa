import { describe, expect, it } from 'vitest';
import { multiply, turnBy } from '../../src/hand/rotation.js';
import { createMotionDelay } from '../../src/sensing/motion-delay.js';
import { seeded } from '../hand/chain.js';
import { createNormal } from '../hand/mount-wearer.js';

/** A hand that moves as hands do: some slow swings at once. */
function createMotion(random: () => number) {
  const parts = Array.from({ length: 9 }, () => ({
    rate: 2 + 14 * random(),
    phase: 6 * random(),
    size: 0.1 + 0.2 * random(),
  }));
  return (s: number) => {
    const along = [0, 0, 0];
    for (const [i, { rate, phase, size }] of parts.entries())
      along[i % 3] += size * Math.sin(rate * s + phase);
    return turnBy([0, 0, 0, 1], along);
  };
}

/** @returns what is found for a tracker that shows everything `lateMs` late, in another frame, with noise */
function found(seed: number, lateMs: number, { noiseDeg = 0.3, still = false, alien = false } = {}) {
  const random = seeded(seed);
  const normal = createNormal(random);
  const motion = createMotion(random);
  const other = alien ? createMotion(random) : motion;
  const delay = createMotionDelay();
  const mounted = turnBy([0, 0, 0, 1], [1, 2, -1]);
  const noisy = (q: ArrayLike<number>) =>
    turnBy(
      q,
      [0, 1, 2].map(() => (noiseDeg * normal() * Math.PI) / 180 / Math.sqrt(3)),
    );
  let trackerS = 0;
  for (let s = 0; s < 5; s += 1 / 250) {
    delay.glove(s * 1e6, noisy(motion(still ? 0 : s)));
    while (trackerS <= s) {
      delay.tracker(trackerS * 1e6, noisy(multiply(other(still ? 0 : trackerS - lateMs / 1000), mounted)));
      trackerS += 1 / 90 + 0.002 * (random() - 0.5);
    }
  }
  return delay.read();
}

describe('the delay of a tracker', () => {
  it.each([0, 5, 12, 20, 33, 45, 60])('of %i ms is found within 5 ms', (lateMs) => {
    for (let seed = 1; seed <= 20; seed++) {
      const us = found(seed, lateMs);
      expect(us, `seed ${seed}`).toBeDefined();
      expect(Math.abs((us ?? 0) / 1000 - lateMs), `seed ${seed}`).toBeLessThan(5);
    }
  });

  it('is not guessed from a hand that keeps still, from another hand, or from nothing', () => {
    expect(createMotionDelay().read()).toBeUndefined();
    for (let seed = 1; seed <= 20; seed++) {
      expect(found(seed, 20, { still: true })).toBeUndefined();
      expect(found(seed, 20, { alien: true })).toBeUndefined();
    }
  });
});
