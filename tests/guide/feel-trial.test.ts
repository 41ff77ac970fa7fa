import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { byChance, createFeelTrial, type FeelTrial, type Side } from '../../src/guide/feel-trial.js';

const seeded = (seed: number) => () => {
  // Numerical Recipes' linear congruential generator: any draws will do.
  seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
  return seed / 2 ** 32;
};
const begun = (rounds: number, seed: number) => createFeelTrial('stiffness', 200, 600, rounds, seeded(seed));

/** Feels both, then chooses the one that `likes` likes. */
function decide(trial: FeelTrial, likes: (value: number) => boolean): void {
  trial.feel();
  const first = trial.value!;
  trial.show('second');
  trial.feel();
  expect(trial.choose(likes(first) ? 'first' : 'second')).toBeUndefined();
}

describe('a blind comparison', () => {
  it('finds what the wearer likes, whatever comes first', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 20 }), fc.nat(), fc.boolean(), (rounds, seed, softer) => {
        const trial = begun(rounds, seed);
        for (let round = 1; round <= rounds; round++) {
          expect(trial.round).toBe(round);
          expect(trial.reveal()).toBeUndefined();
          decide(trial, (value) => (value === 200) === softer);
        }
        expect(trial.done).toBe(true);
        expect(trial.value).toBeUndefined();
        const revealed = trial.reveal()!;
        expect(revealed.preferred).toBe(softer ? 'a' : 'b');
        expect(revealed.chosen).toEqual({ a: softer ? rounds : 0, b: softer ? 0 : rounds, same: 0 });
        // Each first as often as the other, but for an odd round.
        const firsts = (side: Side) => revealed.rounds.filter(({ first }) => first === side).length;
        expect(Math.abs(firsts('a') - firsts('b'))).toBe(rounds % 2);
      }),
    );
  });

  it('is not decided by choosing the same place each time', () => {
    for (let seed = 0; seed < 20; seed++) {
      const trial = begun(4, seed);
      while (!trial.done) {
        trial.feel();
        trial.show('second');
        trial.feel();
        trial.choose('first');
      }
      expect(trial.reveal()).toMatchObject({ chosen: { a: 2, b: 2 }, byChance: 1 });
      expect(trial.reveal()?.preferred).toBeUndefined();
    }
  });

  it('draws another order for another trial', () => {
    const orders = Array.from({ length: 40 }, (_, seed) => {
      const trial = begun(4, seed);
      while (!trial.done) decide(trial, () => true);
      return trial
        .reveal()!
        .rounds.map(({ first }) => first)
        .join('');
    });
    // Six orders of two a and two b.
    expect(new Set(orders).size).toBe(6);
  });

  it('counts no choice before both were felt', () => {
    const trial = begun(2, 1);
    expect(trial.choose('first')).toMatch(/Feel the first/);
    trial.feel();
    expect(trial.choose('first')).toMatch(/Feel the second/);
    trial.show('second');
    trial.show('first');
    expect(trial.choose('same')).toMatch(/Feel the second/);
    trial.show('second');
    trial.feel();
    expect(trial.choose('same')).toBeUndefined();
    // The next round begins with nothing felt.
    expect(trial).toMatchObject({ round: 2, showing: 'first', felt: { first: false, second: false } });
    expect(trial.choose('first')).toMatch(/Feel the first/);
  });
});

describe('how likely a coin is as one-sided', () => {
  // Binomial tables (p = 1/2), as in any handbook of statistics, by hand: 2 * (1/16), 2 * (11/1024), 2 * (1 + 6)/64 ...
  it.each([
    [4, 0, 0.125],
    [3, 1, 0.625],
    [2, 2, 1],
    [6, 0, 0.03125],
    [5, 1, 0.21875],
    [9, 1, 0.021484375],
    [15, 5, 0.04138946533203125],
    [0, 0, 1],
  ])('%d to %d: %d', (one, other, likely) => {
    expect(byChance(one, other)).toBeCloseTo(likely, 12);
    expect(byChance(other, one)).toBeCloseTo(likely, 12);
  });
});
