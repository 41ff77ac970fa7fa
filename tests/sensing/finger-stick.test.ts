import { describe, expect, it } from 'vitest';
import { createFingerStick } from '../../src/sensing/finger-stick.js';

const fist = (index: number, others = 0.9) => [0.2, index, others, others, others];
const spread = (index: number) => [0, index, 0, 0, 0];

describe('the index finger as a thumbstick', () => {
  it('steers from where it was when the fist closed, and lets go with the fist', () => {
    const stick = createFingerStick('right');
    stick.update(fist(0.5, 0.2), spread(0), true);
    expect([...stick.out]).toEqual([0, 0]);
    stick.update(fist(0.5), spread(0.1), true);
    expect(stick.out[0]).toBeCloseTo(0);
    expect(stick.out[1]).toBeCloseTo(0);
    stick.update(fist(0.35), spread(0.1), true);
    expect(stick.out[1]).toBeCloseTo(0.5);
    stick.update(fist(0.95), spread(0.8), true);
    expect([...stick.out]).toEqual([-1, -1]);
    stick.update(fist(0.95, 0.65), spread(0.8), true);
    expect(stick.out[1]).toBe(-1);
    stick.update(fist(0.95, 0.5), spread(0.8), true);
    expect([...stick.out]).toEqual([0, 0]);
  });

  it('mirrors on a left hand, and does not steer by a guess', () => {
    const stick = createFingerStick('left');
    stick.update(fist(0.5), spread(0), true);
    stick.update(fist(0.5), spread(0.35), true);
    expect(stick.out[0]).toBeCloseTo(0.5);
    stick.update(fist(0.5), spread(0.35), false);
    expect([...stick.out].map(Math.abs)).toEqual([0, 0]);
  });
});
