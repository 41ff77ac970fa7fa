import { OneEuroFilter } from '1eurofilter';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { createOneEuroBank } from '../../src/sensing/one-euro.js';

// Outside source: the filter's authors' own package `1eurofilter` (Casiez, Roussel & Vogel, CHI 2012).
it('equals the One Euro filter of its authors on random signals and uneven times', () => {
  const unit = fc.double({ min: -2, max: 2, noNaN: true });
  const interval = fc.double({ min: 1e-4, max: 0.2, noNaN: true });
  fc.assert(
    fc.property(
      fc.double({ min: 0.05, max: 20, noNaN: true }),
      fc.double({ min: 0, max: 50, noNaN: true }),
      fc.double({ min: 0.05, max: 20, noNaN: true }),
      fc.array(fc.tuple(unit, unit, unit, interval), { minLength: 2, maxLength: 60 }),
      (minCutoffHz, beta, derivativeCutoffHz, samples) => {
        const bank = createOneEuroBank(3, { minCutoffHz, beta, derivativeCutoffHz }, 1 / 60);
        const theirs = [0, 1, 2].map(() => new OneEuroFilter(60, minCutoffHz, beta, derivativeCutoffHz));
        let time = 0;
        for (const [a, b, c, dt] of samples) {
          // The interval as the timestamps have it, so that both see the same rounding.
          const next = time + dt;
          bank.update(Float64Array.of(a, b, c), next - time);
          time = next;
          for (const [i, x] of [a, b, c].entries()) {
            expect(Math.abs(bank.values[i] - theirs[i].filter(x, time))).toBeLessThan(1e-12);
          }
        }
      },
    ),
  );
});
