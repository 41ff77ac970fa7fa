import { describe, expect, it } from 'vitest';
import type { HandInfo } from '../../../src/page/live.js';
import { inPalm, orientationOf, SHAPES, shapeOf } from '../../../src/page/parts/touch-object.js';

const PALM_RADIUS_M = 0.013;
const info = {
  skeleton: { restPoses: [[0.002, 0, -0.09, 0, 0, 0, 1]], radiiM: [PALM_RADIUS_M] },
} as unknown as HandInfo;

describe('the object of the touch part', () => {
  it.each(SHAPES)('%s lies against the palm, on its inner side, whatever its size', (name) => {
    for (const sizeM of [0.02, 0.06, 0.12]) {
      const at = inPalm(info, name, sizeM);
      const gap = -at.y - PALM_RADIUS_M;
      expect(gap).toBeCloseTo(name === 'wall' ? sizeM : sizeM / 2, 9);
      expect(at.z).toBeLessThan(-0.09);
    }
  });
  it('has the size that the slider says, across', () => {
    expect(shapeOf('ball', 0.06)).toEqual({ kind: 'sphere', radius: 0.03 });
    expect(shapeOf('rod', 0.04)).toMatchObject({ kind: 'cylinder', radius: 0.02 });
    expect(shapeOf('pill', 0.04)).toMatchObject({ kind: 'capsule', radius: 0.02 });
    expect(shapeOf('box', 0.05)).toMatchObject({ size: [expect.any(Number), 0.05, 0.05] });
  });
  it('is turned by unit quaternions, rods across the palm', () => {
    for (const name of SHAPES) expect(Math.hypot(...orientationOf(name))).toBeCloseTo(1, 12);
    // y of the rod, turned by its quaternion, is the hand's x or its opposite.
    const [x, y, z, w] = orientationOf('rod');
    expect([2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x)].map(Math.abs)).toEqual([
      expect.closeTo(1, 9),
      expect.closeTo(0, 9),
      expect.closeTo(0, 9),
    ]);
  });
});
