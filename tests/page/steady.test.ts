import fc from 'fast-check';
import { expect, it } from 'vitest';
import { createSteady, createSteadyPercent } from '../../src/page/steady.js';

it('is never further off than it says', () => {
  fc.assert(
    fc.property(fc.array(fc.double({ min: -2, max: 2, noNaN: true }), { minLength: 1 }), (parts) => {
      const [steady, percent] = [createSteady(0.01), createSteadyPercent()];
      for (const part of parts) {
        expect(Math.abs(steady(part) - part)).toBeLessThanOrEqual(0.01);
        expect(Math.abs(percent(part) - 100 * part)).toBeLessThanOrEqual(0.75);
        expect(Number.isInteger(percent(part))).toBe(true);
      }
    }),
  );
});

it('stays while noise is all that moves, at an edge of rounding too', () => {
  const [steady, percent] = [createSteady(8), createSteadyPercent()];
  const counts = [2000, 2003, 1996, 2008, 1992].map(steady);
  expect(counts).toEqual(Array(5).fill(2000));
  const parts = [0.5049, 0.5051, 0.5049, 0.5051].map(percent);
  expect(parts).toEqual(Array(4).fill(50));
});

it('shows what comes after something that is not a number', () => {
  const percent = createSteadyPercent();
  expect([0.2, Number.NaN, 0.2].map(percent)).toEqual([20, Number.NaN, 20]);
});
