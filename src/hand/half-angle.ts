import { DOF_COUNT, type DofArray } from './dofs.js';

/**
 * Sines and cosines of half of every degree of freedom: what quaternions are made of. All at once, ahead of the
 * kinematics, and by polynomials: in one loop without calls, the work on one angle overlaps that on the next.
 */
export const HALF_SINES = new Float64Array(DOF_COUNT);
export const HALF_COSINES = new Float64Array(DOF_COUNT);

/** Half of no joint's range is larger, rad; beyond it the library's functions are asked. */
const LARGEST = 1;

/** Fills HALF_SINES and HALF_COSINES, to 4e-13. @param dofs radians @param count how many of them, from the first on */
export function halfAngles(dofs: DofArray, count: number = DOF_COUNT): void {
  for (let i = 0; i < count; i++) {
    const x = 0.5 * dofs[i];
    const z = x * x;
    if (z <= LARGEST) {
      // Least squares over Chebyshev's nodes for z from 0 to 1; the tests compare with Math.sin and Math.cos.
      const s0 = -0.1666666666663571 + z * 0.008333333317846582;
      const s2 = -0.00019841257442111118 + z * (2.755384290106698e-6 + z * -2.465377081267759e-8);
      const c0 = 0.041666666666644515 + z * -0.0013888888877809518;
      const c2 = 2.480157843198511e-5 + z * (-2.755483288343413e-7 + z * 2.059195102804825e-9);
      const zz = z * z;
      HALF_SINES[i] = x + x * z * (s0 + zz * s2);
      HALF_COSINES[i] = 1 - 0.5 * z + zz * (c0 + zz * c2);
    } else {
      HALF_SINES[i] = Math.sin(x);
      HALF_COSINES[i] = Math.cos(x);
    }
  }
}
