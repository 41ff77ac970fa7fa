import fc from 'fast-check';
import { expect, it } from 'vitest';
import { convexHull } from '../../src/page/scene/flat-pen.js';

const points = fc.array(fc.tuple(fc.integer({ min: -50, max: 50 }), fc.integer({ min: -50, max: 50 })), {
  minLength: 3,
  maxLength: 40,
});
const turn = (a: number[], b: number[], c: number[]): number =>
  (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);

it('a band around points has all of them inside, and turns one way only', () => {
  fc.assert(
    fc.property(points, (all) => {
      const hull = convexHull(all);
      for (let i = 0; i < hull.length; i++) {
        const [from, to] = [hull[i], hull[(i + 1) % hull.length]];
        for (const point of all) expect(turn(from, to, point)).toBeGreaterThanOrEqual(0);
        expect(all).toContainEqual(from);
        if (hull.length > 2) expect(turn(from, to, hull[(i + 2) % hull.length])).toBeGreaterThan(0);
      }
    }),
  );
});
