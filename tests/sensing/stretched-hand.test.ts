import { describe, expect, it } from 'vitest';
import { INFERRED, TRACKED } from '../../src/hand/validity.js';
import { createStretchedHand } from '../../src/sensing/stretched-hand.js';

const five = (value: number) => new Array<number>(5).fill(value);
const SENSED = five(TRACKED);

describe('a stretched hand', () => {
  it('is a sign once it has been kept for the time', () => {
    const sign = createStretchedHand(1);
    expect(sign.update(five(0.02), SENSED, 0)).toBe(false);
    expect(sign.update(five(0.02), SENSED, 999_000)).toBe(false);
    expect(sign.update(five(0.02), SENSED, 1_000_000)).toBe(true);
    expect(sign.update(five(0.02), SENSED, 1_100_000)).toBe(true);
    expect(sign.update(five(0.2), SENSED, 1_200_000)).toBe(false);
    expect(sign.update(five(0.02), SENSED, 1_300_000)).toBe(false);
  });

  it('begins anew when one finger bends, is only guessed, is not known, or time went back', () => {
    const bent = [0.02, 0.02, 0.02, 0.02, 0.15];
    const unknown = [0.02, 0.02, Number.NaN, 0.02, 0.02];
    const guessed = [TRACKED, TRACKED, INFERRED, TRACKED, TRACKED];
    for (const [curls, states] of [
      [bent, SENSED],
      [unknown, SENSED],
      [five(0), guessed],
    ]) {
      const sign = createStretchedHand(1);
      sign.update(five(0.02), SENSED, 0);
      expect(sign.update(curls, states, 900_000)).toBe(false);
      expect(sign.update(five(0.02), SENSED, 1_800_000)).toBe(false);
      expect(sign.update(five(0.02), SENSED, 2_800_000)).toBe(true);
    }
    const sign = createStretchedHand(1);
    sign.update(five(0.02), SENSED, 5_000_000);
    expect(sign.update(five(0.02), SENSED, 1_000_000)).toBe(false);
    expect(sign.update(five(0.02), SENSED, 2_000_000)).toBe(true);
  });

  it('is no sign for a glove whose profile does not ask for it', () => {
    const sign = createStretchedHand(undefined);
    for (let timeUs = 0; timeUs < 60e6; timeUs += 1e6) {
      expect(sign.update(five(0), SENSED, timeUs)).toBe(false);
    }
  });
});
