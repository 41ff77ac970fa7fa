import fc from 'fast-check';
import { expect, it } from 'vitest';
import { boneGap } from '../../src/hand/bone-gap.js';
import { capsuleGap } from './gap.js';

it('is the distance found by stepping along both bones, within their taper and the steps', () => {
  const place = fc.double({ min: -0.05, max: 0.05, noNaN: true });
  const radius = fc.double({ min: 0.008, max: 0.01, noNaN: true });
  const joint = fc.tuple(place, place, place, radius);
  fc.assert(
    fc.property(joint, joint, joint, joint, (...joints) => {
      const poses = new Float64Array(4 * 8);
      for (const [i, [x, y, z, r]] of joints.entries()) poses.set([x, y, z, 0, 0, 0, 1, r], i * 8);
      const length = (a: number) =>
        Math.hypot(...[0, 1, 2].map((k) => poses[a * 8 + k] - poses[a * 8 + 8 + k]));
      const [a, b] = [length(0), length(2)];
      if (a < 0.01 || b < 0.01) return;
      const stepped = capsuleGap(poses, 0, 2);
      const gap = boneGap(poses, 0, 2);
      expect(gap).toBeGreaterThan(stepped - (a + b) / 32 - 1e-9);
      // Two bones that touch all along: each is up to 2 mm thinner where the axes are said to be nearest.
      expect(gap).toBeLessThan(stepped + 0.004 + 1e-9);
    }),
  );
});
