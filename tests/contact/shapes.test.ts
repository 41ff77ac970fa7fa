import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { boneDistance, createBoneDistance, EXACT, TO_ADVANCE } from '../../src/contact/bone.js';
import { compileShape, isShapeFault, sameShape, signedDistance } from '../../src/contact/shapes.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
import { distanceOf } from './oracle.js';
import { between, KINDS, randomShape, seeded } from './random.js';

function compiled(shape: ConvexShape) {
  const result = compileShape(shape);
  if (isShapeFault(result)) throw new Error(result.message);
  return result;
}

const normal = new Float64Array(3);
const at = (shape: ConvexShape, x: number, y: number, z: number) =>
  signedDistance(compiled(shape), x, y, z, normal);

describe('signed distance by hand', () => {
  it.each<[string, ConvexShape, [number, number, number], number, [number, number, number]]>([
    ['sphere, outside', { kind: 'sphere', radius: 2 }, [3, 4, 0], 3, [0.6, 0.8, 0]],
    ['sphere, inside', { kind: 'sphere', radius: 2 }, [0, 0, -1], -1, [0, 0, -1]],
    ['box, beyond a face', { kind: 'box', size: [2, 4, 6] }, [0.5, -3, 1], 1, [0, -1, 0]],
    ['box, beyond a corner', { kind: 'box', size: [2, 4, 6] }, [2, 4, 5], 3, [1 / 3, 2 / 3, 2 / 3]],
    ['box, inside', { kind: 'box', size: [2, 4, 6] }, [0.25, 0.5, -0.5], -0.75, [1, 0, 0]],
    ['capsule, side', { kind: 'capsule', radius: 1, length: 4 }, [3, 1.5, 0], 2, [1, 0, 0]],
    ['capsule, cap', { kind: 'capsule', radius: 1, length: 4 }, [3, 6, 0], 4, [0.6, 0.8, 0]],
    ['cylinder, side', { kind: 'cylinder', radius: 1, length: 4 }, [0, 1, -3], 2, [0, 0, -1]],
    ['cylinder, end', { kind: 'cylinder', radius: 1, length: 4 }, [0.5, -3, 0], 1, [0, -1, 0]],
    ['cylinder, rim', { kind: 'cylinder', radius: 1, length: 4 }, [4, 6, 0], 5, [0.6, 0.8, 0]],
    ['half-space, above', { kind: 'halfSpace' }, [7, 3, 9], 3, [0, 1, 0]],
    ['half-space, below', { kind: 'halfSpace' }, [7, -3, 9], -3, [0, 1, 0]],
  ])('%s', (_, shape, point, distance, n) => {
    expect(at(shape, ...point)).toBeCloseTo(distance, 12);
    for (const [i, x] of n.entries()) expect(normal[i]).toBeCloseTo(x, 12);
  });
});

describe('signed distance of every kind', () => {
  it.each(KINDS)(
    'of a %s agrees with a formula written anew, and the normal leads to the surface',
    (kind) => {
      const random = seeded(KINDS.indexOf(kind) + 1);
      for (let round = 0; round < 20; round++) {
        const raw = randomShape(random, kind);
        const shape = compiled(raw);
        const expected = distanceOf(raw);
        for (let i = 0; i < 100; i++) {
          const [x, y, z] = [0, 1, 2].map(() => between(random, -0.12, 0.12));
          const distance = signedDistance(shape, x, y, z, normal);
          expect(Math.abs(distance - expected(x, y, z))).toBeLessThan(1e-8);
          const [nx, ny, nz] = normal;
          expect(Math.hypot(nx, ny, nz)).toBeCloseTo(1, 9);
          expect(Math.abs(expected(x - distance * nx, y - distance * ny, z - distance * nz))).toBeLessThan(
            1e-8,
          );
        }
      }
    },
  );

  it('is convex along any line, inside and outside, which the search along a bone relies on', () => {
    const coordinate = fc.double({ min: -0.15, max: 0.15, noNaN: true });
    const point = fc.tuple(coordinate, coordinate, coordinate);
    fc.assert(
      fc.property(fc.integer(), fc.constantFrom(...KINDS), point, point, (seed, kind, a, b) => {
        const shape = compiled(randomShape(seeded(seed), kind));
        const f = (t: number) =>
          signedDistance(
            shape,
            a[0] + t * (b[0] - a[0]),
            a[1] + t * (b[1] - a[1]),
            a[2] + t * (b[2] - a[2]),
            normal,
          );
        for (const [s, t] of [
          [0, 1],
          [0.1, 0.6],
          [0.4, 0.5],
        ]) {
          expect(f((s + t) / 2)).toBeLessThanOrEqual((f(s) + f(t)) / 2 + 1e-8);
        }
      }),
      { numRuns: 2000, seed: 1 },
    );
  });
});

describe('distance of a bone', () => {
  it.each(KINDS)('to a %s is the least of 2,000 points along it', (kind) => {
    const random = seeded(100 + KINDS.indexOf(kind));
    const out = createBoneDistance();
    for (let round = 0; round < 60; round++) {
      const raw = randomShape(random, kind);
      const shape = compiled(raw);
      const distance = distanceOf(raw);
      const p = Float64Array.from({ length: 6 }, () => between(random, -0.1, 0.1));
      const r0 = between(random, 0.004, 0.015);
      const r1 = between(random, 0.004, 0.015);
      let least = Number.POSITIVE_INFINITY;
      for (let i = 0; i <= 2000; i++) {
        const t = i / 2000;
        const [x, y, z] = [0, 1, 2].map((k) => p[k] + t * (p[k + 3] - p[k]));
        least = Math.min(least, distance(x, y, z) - r0 - t * (r1 - r0));
      }
      for (const hint of [0, 0.37, 1]) {
        boneDistance(shape, p, 0, r0, r1, hint, EXACT, 0, 1, 1, out);
        expect(out.distance).toBeLessThan(least + 2e-7);
        // Sampling misses the least point by half a step at most: 0.3 m / 4000.
        expect(out.distance).toBeGreaterThan(least - 8e-5);
        const exact = out.distance;
        boneDistance(shape, p, 0, r0, r1, hint, TO_ADVANCE, 0, 1, 1, out);
        expect(out.lowerBound).toBeLessThanOrEqual(exact + 1e-9);
        expect(out.distance).toBeGreaterThanOrEqual(exact - 2e-7);
      }
    }
  });

  it('does not fail on a bone without length', () => {
    const out = createBoneDistance();
    const shape = compiled({ kind: 'sphere', radius: 1 });
    boneDistance(shape, Float64Array.of(3, 0, 0, 3, 0, 0), 0, 0.5, 0.5, 0.5, EXACT, 0, 1, 1, out);
    expect(out.distance).toBeCloseTo(1.5, 12);
  });
});

describe('sameShape', () => {
  it('tells every number apart', () => {
    const random = seeded(8);
    for (const kind of KINDS) {
      const shape = randomShape(random, kind);
      expect(sameShape(shape, structuredClone(shape))).toBe(true);
      if (kind !== 'halfSpace') expect(sameShape(shape, randomShape(random, kind))).toBe(false);
      for (const other of KINDS) {
        if (other !== kind) expect(sameShape(shape, randomShape(random, other))).toBe(false);
      }
    }
  });
});
