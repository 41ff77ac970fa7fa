import { describe, expect, it } from 'vitest';
import { timeInTurns } from '../../scripts/bench/figure.js';
import { buildHull, type Hull } from '../../src/contact/hull.js';
import { createHullSeed, hullDistance } from '../../src/contact/hull-distance.js';
import { compileShape, isShapeFault, signedDistance } from '../../src/contact/shapes.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
import { between, randomTurn, seeded } from './random.js';

type Points = [number, number, number][];

const corners = (x: number, y: number, z: number): Points =>
  [-x, x].flatMap((a) => [-y, y].flatMap((b) => [-z, z].map((c) => [a, b, c] as [number, number, number])));

function hullOf(points: Points): Hull {
  const hull = buildHull(points);
  if (typeof hull === 'string') throw new Error(hull);
  return hull;
}

function compiled(shape: ConvexShape) {
  const result = compileShape(shape);
  if (isShapeFault(result)) throw new Error(result.message);
  return result;
}

function volumeOf({ vertices, faces }: Hull): number {
  let volume = 0;
  for (let i = 0; i < faces.length; i += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => vertices.subarray(faces[i + k] * 3, faces[i + k] * 3 + 3));
    volume +=
      (a[0] * (b[1] * c[2] - b[2] * c[1]) +
        a[1] * (b[2] * c[0] - b[0] * c[2]) +
        a[2] * (b[0] * c[1] - b[1] * c[0])) /
      6;
  }
  return volume;
}

describe('hull of points', () => {
  it('of the corners of a box has its volume, 8 vertices and 12 triangles', () => {
    const hull = hullOf(corners(0.02, 0.03, 0.05));
    expect(hull.vertices.length / 3).toBe(8);
    expect(hull.faces.length / 3).toBe(12);
    expect(volumeOf(hull)).toBeCloseTo(0.04 * 0.06 * 0.1, 12);
  });

  it('leaves out points inside, on faces and on edges, and duplicates', () => {
    const random = seeded(5);
    const points = corners(0.05, 0.05, 0.05);
    const extra: Points = Array.from({ length: 100 }, () => [
      between(random, -0.05, 0.05),
      between(random, -0.05, 0.05),
      between(random, -0.05, 0.05),
    ]);
    extra.push([0.05, 0.01, 0], [0.05, 0.05, 0.02], [0, 0, 0], ...points);
    const hull = hullOf([...extra, ...points]);
    expect(hull.vertices.length / 3).toBe(8);
    expect(volumeOf(hull)).toBeCloseTo(0.001, 12);
  });

  it('of a fine grid, most of it coplanar, is the box around it', () => {
    const points: Points = [];
    for (let x = 0; x <= 5; x++)
      for (let y = 0; y <= 5; y++) for (let z = 0; z <= 6; z++) points.push([x, y, z]);
    expect(volumeOf(hullOf(points.slice(0, 256)))).toBeGreaterThan(0);
    expect(volumeOf(hullOf(points))).toBeCloseTo(150, 6);
  });

  it('of points far from the origin is as good as near it', () => {
    const points = corners(0.02, 0.03, 0.05).map(([x, y, z]) => [x + 9000, y - 9000, z + 9000]) as Points;
    const hull = hullOf(points);
    const [ox, oy, oz] = points[0];
    const moved = points.map(([x, y, z]) => [x - ox, y - oy, z - oz]) as Points;
    expect(hull.faces.length).toBe(hullOf(moved).faces.length);
  });

  it('of 256 points on a sphere, turned anyhow, is closed and close to the ball', () => {
    const random = seeded(9);
    for (let round = 0; round < 5; round++) {
      const points = Array.from({ length: 256 }, () => {
        const [x, y, z, w] = randomTurn(random);
        return [
          0.04 * (2 * (x * z + y * w)),
          0.04 * (2 * (y * z - x * w)),
          0.04 * (1 - 2 * (x * x + y * y)),
        ] as [number, number, number];
      });
      const hull = hullOf(points);
      expect(hull.vertices.length / 3).toBe(256);
      // Euler: a closed surface of triangles has 2V - 4 faces.
      expect(hull.faces.length / 3).toBe(508);
      const ball = (4 / 3) * Math.PI * 0.04 ** 3;
      expect(volumeOf(hull) / ball).toBeGreaterThan(0.9);
      expect(volumeOf(hull) / ball).toBeLessThan(1);
    }
  });

  it('of the most points that a message may have is built in the time of a few readings of the message', () => {
    const random = seeded(11);
    const points = Array.from({ length: 256 }, (): [number, number, number] => {
      const [x, y, z] = [0, 1, 2].map(() => between(random, -1, 1));
      const length = Math.hypot(x, y, z);
      return [x / length, y / length, z / length];
    });
    const text = JSON.stringify({ type: 'touch', hand: 'right', shape: { kind: 'hull', points } });
    // Processor time, the quickest turn of each: measured 12, and 101 before it was made of flat arrays.
    const [, ratio] = timeInTurns([() => JSON.parse(text), () => hullOf(points)], {
      rounds: 10,
      calls: 60,
    }).ratiosToFirst;
    expect(ratio).toBeLessThan(25);
  });

  it.each<[string, Points, string]>([
    ['three points', corners(1, 1, 1).slice(0, 3), 'fewPoints'],
    ['one point, many times', Array.from({ length: 10 }, () => [1, 2, 3]), 'flat'],
    ['points on a line', Array.from({ length: 10 }, (_, i) => [i, 2 * i, -i]), 'flat'],
    [
      'points in a plane',
      Array.from({ length: 30 }, (_, i) => [i % 6, Math.floor(i / 6), (i % 6) * 0.3]),
      'flat',
    ],
    ['a coordinate that is not a number', [...corners(1, 1, 1), [Number.NaN, 0, 0]], 'notFinite'],
    ['a coordinate without end', [...corners(1, 1, 1), [0, Number.POSITIVE_INFINITY, 0]], 'notFinite'],
  ])('of %s is a fault', (_, points, fault) => {
    expect(buildHull(points)).toBe(fault);
  });

  it('with a fault is refused as a shape in one line that says what to do', () => {
    const result = compileShape({ kind: 'hull', points: Array.from({ length: 9 }, (_, i) => [i % 3, i, 0]) });
    expect(result).toEqual({
      code: 'badMessage',
      message: 'shape.points: the points lie in a plane (or closer); give points that enclose a volume.',
      path: '/shape/points',
    });
  });
});

describe('distance to a hull', () => {
  it('of the corners of a box is the distance to the box, and so is the normal outside', () => {
    const random = seeded(3);
    const box = compiled({ kind: 'box', size: [0.04, 0.06, 0.1] });
    const hull = compiled({ kind: 'hull', points: corners(0.02, 0.03, 0.05) });
    const n = new Float64Array(3);
    const m = new Float64Array(3);
    for (let i = 0; i < 20_000; i++) {
      const point = [0, 1, 2].map(() => between(random, -0.1, 0.1)) as [number, number, number];
      const expected = signedDistance(box, ...point, n);
      expect(Math.abs(signedDistance(hull, ...point, m) - expected)).toBeLessThan(1e-9);
      if (expected > 1e-6) expect(n[0] * m[0] + n[1] * m[1] + n[2] * m[2]).toBeGreaterThan(1 - 1e-6);
    }
  });

  it('inside is that of the nearest of all its faces, which are looked at in groups', () => {
    const random = seeded(11);
    const n = new Float64Array(3);
    for (const count of [4, 9, 40, 250]) {
      const inBox = () => [0, 1, 2].map(() => between(random, -0.05, 0.05)) as [number, number, number];
      const hull = hullOf(Array.from({ length: count }, inBox));
      const { vertices, planes } = hull;
      const corner = () => {
        const i = 3 * Math.floor(between(random, 0, vertices.length / 3));
        return [vertices[i], vertices[i + 1], vertices[i + 2]];
      };
      for (let i = 0; i < 2000; i++) {
        // Between four corners: inside, and often near to the surface.
        const shares = [0, 1, 2, 3].map(() => random() ** 4);
        const sum = shares.reduce((total, share) => total + share, 0);
        const picked = shares.map(corner);
        const [x, y, z] = [0, 1, 2].map((axis) =>
          picked.reduce((total, at, k) => total + (shares[k] / sum) * at[axis], 0),
        );
        let nearest = Number.NEGATIVE_INFINITY;
        for (let at = 0; at < planes.length; at += 4) {
          const height = planes[at] * x + planes[at + 1] * y + planes[at + 2] * z - planes[at + 3];
          nearest = Math.max(nearest, height);
        }
        if (nearest > -1e-6) continue;
        expect(hullDistance(hull, x, y, z, n, createHullSeed())).toBe(nearest);
      }
    }
  });

  it('is 0 on its corners, edges and faces', () => {
    const hull = compiled({ kind: 'hull', points: corners(0.02, 0.03, 0.05) });
    const n = new Float64Array(3);
    for (const [x, y, z] of [
      ...corners(0.02, 0.03, 0.05),
      [0.02, 0.03, 0.01],
      [0.02, 0.01, 0.01],
      [0, 0, 0.05],
    ]) {
      expect(signedDistance(hull, x, y, z, n)).toBeCloseTo(0, 12);
      expect(Math.hypot(...n)).toBeCloseTo(1, 9);
    }
    expect(signedDistance(hull, 0, 0, 0, n)).toBeCloseTo(-0.02, 12);
  });
});
