import { expect, it } from 'vitest';
import { erfc } from '../../../src/sensing/health/silence.js';

it('erfc agrees with tabulated values', () => {
  // Abramowitz & Stegun, table 7.1 (from memory): erf(0.5) = 0.5204999, erf(1) = 0.8427008, erf(2) = 0.9953223.
  expect(erfc(0.5)).toBeCloseTo(1 - 0.5204999, 6);
  expect(erfc(1)).toBeCloseTo(1 - 0.8427008, 6);
  expect(erfc(2)).toBeCloseTo(1 - 0.9953223, 6);
});
