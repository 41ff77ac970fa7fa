import { TorusGeometry } from 'three';
import { expect, test } from 'vitest';
import { convexParts, ring } from '../../src/client/index.js';
import { touchFault } from '../../src/contact/touches.js';
import { isMessageOf } from '../../src/stream/validate.js';
import { distanceOf } from '../contact/oracle.js';

const touch = (shape: ReturnType<typeof ring>) => ({ type: 'touch' as const, hand: 'right' as const, shape });

test.each([
  [0.04, 0.008],
  [0.02, 0.015],
  [0.3, 0.01],
])('a ring of %d m is a torus to within 1 %% of its radius, inside and out', (radius, tubeRadius) => {
  const shape = ring(radius, tubeRadius);
  expect(isMessageOf('touch', touch(shape))).toBe(true);
  expect(touchFault(touch(shape))).toBeUndefined();
  const distance = distanceOf(shape);
  // The torus of three.js lies around z; ours around y.
  const { array } = new TorusGeometry(radius, tubeRadius, 24, 96).getAttribute('position');
  let worst = 0;
  for (let i = 0; i < array.length; i += 3) {
    worst = Math.max(worst, Math.abs(distance(array[i], array[i + 2], array[i + 1])));
  }
  expect(worst).toBeLessThan(0.01 * radius);
  expect(worst).toBeGreaterThan(0.001 * radius);
});

test('a ring without size is refused', () => {
  expect(() => ring(0, 0.01)).toThrow(RangeError);
  expect(() => ring(0.04, Number.NaN)).toThrow(RangeError);
});

test('the convex pieces of a mesh are a shape that the service takes', () => {
  const corners = [-1, 1].flatMap((x) => [-1, 1].flatMap((y) => [-1, 1].map((z) => [x, y, z] as const)));
  // An L of two bars.
  const upright = corners.map(([x, y, z]) => [0.01 * x, 0.05 * y, 0.01 * z] as const);
  const foot = corners.map(([x, y, z]) => [0.04 + 0.03 * x, -0.04 + 0.01 * y, 0.01 * z] as const);
  const shape = convexParts([upright, foot]);
  expect(isMessageOf('touch', touch(shape))).toBe(true);
  expect(touchFault(touch(shape))).toBeUndefined();
  const distance = distanceOf(shape);
  expect(distance(0, 0.06, 0)).toBeCloseTo(0.01, 9);
  expect(distance(0.06, -0.04, 0)).toBeCloseTo(-0.01, 9);
  // In the corner of the L: outside of both.
  expect(distance(0.03, 0, 0)).toBeCloseTo(0.02, 9);
});
