import fc from 'fast-check';
import { expect, it } from 'vitest';
import { createDelayRing, histogramOf, quantileOf } from '../../src/page/delays.js';

const delays = fc.array(fc.double({ min: -1, max: 2000, noNaN: true }), { minLength: 1, maxLength: 300 });

it('counts every delay once, in the bar that it belongs to', () => {
  fc.assert(
    fc.property(delays, (all) => {
      const sorted = Float64Array.from(all).sort();
      const { widthMs, counts, beyond } = histogramOf(sorted, 40);
      expect(counts.reduce((sum, n) => sum + n, 0) + beyond).toBe(all.length);
      counts.forEach((count, bar) => {
        const inside = all.filter(
          (ms) => (ms >= bar * widthMs || bar === 0) && Math.floor(ms / widthMs) <= bar,
        );
        expect(count).toBe(inside.length);
      });
    }),
  );
});

it('has one long delay beside the bars, not in place of them', () => {
  const { widthMs, beyond } = histogramOf(Float64Array.from([...Array(999).fill(3), 900]), 40);
  expect([widthMs, beyond]).toEqual([0.2, 1]);
});

// Nearest rank: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2 (from memory): the median of five is the third.
it('takes quantiles by nearest rank', () => {
  expect([0.5, 0.95, 1].map((part) => quantileOf([1, 2, 3, 4, 5], part))).toEqual([3, 5, 5]);
  expect(quantileOf([7], 0.5)).toBe(7);
});

it('keeps the newest only, and none that is older than what is looked at', () => {
  const ring = createDelayRing(3, 1000);
  for (const [at, ms] of [9, 1, 2, 3].entries()) ring.add(ms, at * 100);
  expect([...ring.sorted(300)]).toEqual([1, 2, 3]);
  expect([...ring.sorted(1150)]).toEqual([2, 3]);
  ring.add(0.5, 1250);
  expect([...ring.sorted(1250)]).toEqual([0.5, 3]);
  expect(ring.sorted(5000)).toHaveLength(0);
  ring.add(4, 5100);
  expect([...ring.sorted(5100)]).toEqual([4]);
  ring.clear();
  expect(ring.sorted(5100)).toHaveLength(0);
});
