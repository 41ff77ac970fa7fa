import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { HALF_COSINES, HALF_SINES, halfAngles } from '../../src/hand/half-angle.js';

describe('sines and cosines of half angles', () => {
  it('are those of the library, to 4e-13, whatever the angle', () => {
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: -7, max: 7, noNaN: true }), {
          minLength: DOF_COUNT,
          maxLength: DOF_COUNT,
        }),
        (angles) => {
          halfAngles(Float64Array.from(angles));
          for (const [i, angle] of angles.entries()) {
            expect(Math.abs(HALF_SINES[i] - Math.sin(angle / 2))).toBeLessThan(4e-13);
            expect(Math.abs(HALF_COSINES[i] - Math.cos(angle / 2))).toBeLessThan(4e-13);
          }
        },
      ),
    );
  });

  it('hand on what is no number', () => {
    halfAngles(new Float64Array(DOF_COUNT).fill(Number.NaN));
    expect(HALF_SINES.every(Number.isNaN)).toBe(true);
    expect(HALF_COSINES.every(Number.isNaN)).toBe(true);
  });
});
