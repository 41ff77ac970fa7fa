import { describe, expect, it } from 'vitest';
import { changeOf, type DatedValue, isEnough } from '../../../src/guide/wear/trend.js';
import { gaussian } from '../../sensing/glove-signals.js';

const DAY = 86_400_000;
const series = (values: readonly number[], everyDays = 7): DatedValue[] =>
  values.map((value, k) => ({ atMs: Date.UTC(2026, 0, 5) + k * everyDays * DAY, value }));

describe('a change for good', () => {
  it('is seen with its day, whether it came at once or crept in', () => {
    const step = changeOf(series([1, 1.1, 0.9, 1, 1.05, 3, 3.2, 2.9, 3.1]));
    expect(step).toEqual({ before: 1, after: 3.05, sinceMs: Date.UTC(2026, 0, 5) + 5 * 7 * DAY });
    const creep = changeOf(series([1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.4, 2.6, 2.8]))!;
    expect(creep.after / creep.before).toBeGreaterThan(1.5);
  });

  it('is not a single bad day, nor what a week of days does by chance', () => {
    expect(changeOf(series([1, 1, 1.1, 9, 1, 0.9, 1, 1.05, 1]))).toBeUndefined();
    expect(changeOf(series([1, 1, 1, 1, 3, 1, 1, 3, 1, 1]))).toBeUndefined();
    let doubled = 0;
    for (let seed = 1; seed <= 300; seed++) {
      const noise = gaussian(seed);
      const change = changeOf(series(Array.from({ length: 12 }, () => 1 + 0.15 * noise())));
      if (change && change.after > 2 * change.before) doubled++;
    }
    expect(doubled).toBe(0);
  });

  it('takes six days over a week: less is too little to say', () => {
    expect(isEnough(series([1, 1, 1, 3, 3]))).toBe(false);
    expect(changeOf(series([1, 1, 1, 3, 3]))).toBeUndefined();
    expect(changeOf(series([1, 1, 1, 3, 3, 3], 1))).toBeUndefined();
    expect(changeOf(series([1, 1, 1, 3, 3, 3], 2))).toBeDefined();
  });
});
