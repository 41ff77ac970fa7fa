import { expect, it } from 'vitest';
import { WearerSchema } from '../../../src/config/schema.js';
import { handHeading, USUAL_M } from '../../../src/page/parts/measured-card.js';

it('calls a hand measured only where somebody measured it', () => {
  expect(handHeading(undefined, false)).toBe('Hand model (default, not fitted)');
  expect(handHeading({ isUsual: true }, false)).toBe('Hand model (default, not fitted)');
  expect(handHeading({ isUsual: true }, true)).toBe('Measured hand');
  expect(handHeading({ isUsual: false }, false)).toBe('Measured hand');
});

it('takes the numbers of a profile that names no hand for the usual ones', () => {
  const { handLengthMm, handBreadthMm } = WearerSchema.properties;
  expect(USUAL_M.length * 1000).toBe(handLengthMm.default);
  expect(USUAL_M.breadth * 1000).toBe(handBreadthMm.default);
});
