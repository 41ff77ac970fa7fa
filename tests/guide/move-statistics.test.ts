import fc from 'fast-check';
import { expect, it } from 'vitest';
import { median, quantile } from '../../src/guide/move-statistics.js';

/** By the definition of Hyndman & Fan's type 7 (The American Statistician 50(4), 1996), on sorted data. */
function sortedQuantile(values: readonly number[], p: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  const at = p * (sorted.length - 1);
  const low = Math.floor(at);
  return sorted[low] + (at - low) * (sorted[Math.ceil(at)] - sorted[low]);
}

it('finds the quantiles that sorting would, and leaves the data alone', () => {
  // Counts, of which many are alike, and numbers of any size.
  const counts = fc.array(fc.integer({ min: 0, max: 9 }), { minLength: 1, maxLength: 200 });
  const numbers = fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { minLength: 1, maxLength: 50 });
  fc.assert(
    fc.property(fc.oneof(counts, numbers), fc.double({ min: 0, max: 1, noNaN: true }), (values, p) => {
      const given = [...values];
      // -0 and 0 are one value.
      expect(quantile(values, p) + 0).toBe(sortedQuantile(values, p) + 0);
      expect(values).toEqual(given);
    }),
  );
});

it('takes counts as they are recorded', () => {
  expect(median(Uint16Array.of(7, 65535, 0, 9, 8))).toBe(8);
  expect(quantile(Uint16Array.of(10, 20), 0.25)).toBe(12.5);
  expect(median([])).toBeNaN();
});
