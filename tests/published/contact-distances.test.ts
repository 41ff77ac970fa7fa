import { Box3, Line3, Plane, Sphere, Triangle, Vector3 } from 'three';
import { ConvexHull } from 'three/examples/jsm/math/ConvexHull.js';
import { describe, expect, it } from 'vitest';
import { boneDistance, createBoneDistance, EXACT } from '../../src/contact/bone.js';
import { buildHull } from '../../src/contact/hull.js';
import { compileShape, isShapeFault, signedDistance } from '../../src/contact/shapes.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
import { hullDistanceByFaces } from '../contact/oracle.js';
import { between, seeded } from '../contact/random.js';

/*
 * Distances against three.js (npm `three`), an implementation by others: Sphere.distanceToPoint,
 * Box3.distanceToPoint (0 inside), Plane.distanceToPoint, Line3.closestPointToPoint, Line3.distanceSqToLine3 and the
 * hull of examples/jsm/math/ConvexHull.js.
 */

function compiled(shape: ConvexShape) {
  const result = compileShape(shape);
  if (isShapeFault(result)) throw new Error(result.message);
  return result;
}

const normal = new Float64Array(3);
const random = seeded(42);
const points = Array.from(
  { length: 2000 },
  () => new Vector3(between(random, -0.2, 0.2), between(random, -0.2, 0.2), between(random, -0.2, 0.2)),
);

function agree(shape: ConvexShape, reference: (point: Vector3) => number, outsideOnly = false): void {
  const ours = compiled(shape);
  for (const point of points) {
    const distance = signedDistance(ours, point.x, point.y, point.z, normal);
    const expected = reference(point);
    expect(Math.abs((outsideOnly ? Math.max(distance, 0) : distance) - expected)).toBeLessThan(1e-9);
  }
}

describe('signed distance against three.js', () => {
  it('sphere: Sphere.distanceToPoint', () => {
    const sphere = new Sphere(new Vector3(), 0.07);
    agree({ kind: 'sphere', radius: 0.07 }, (point) => sphere.distanceToPoint(point));
  });

  it('box: Box3.distanceToPoint', () => {
    const box = new Box3(new Vector3(-0.05, -0.02, -0.1), new Vector3(0.05, 0.02, 0.1));
    agree({ kind: 'box', size: [0.1, 0.04, 0.2] }, (point) => box.distanceToPoint(point), true);
  });

  it('half-space: Plane.distanceToPoint', () => {
    const plane = new Plane(new Vector3(0, 1, 0), 0);
    agree({ kind: 'halfSpace' }, (point) => plane.distanceToPoint(point));
  });

  it('capsule: Line3.closestPointToPoint', () => {
    const axis = new Line3(new Vector3(0, -0.06, 0), new Vector3(0, 0.06, 0));
    const nearest = new Vector3();
    agree({ kind: 'capsule', radius: 0.03, length: 0.12 }, (point) => {
      axis.closestPointToPoint(point, true, nearest);
      return nearest.distanceTo(point) - 0.03;
    });
  });

  it('hull: the nearest face of ConvexHull, for 40 clouds of points', () => {
    for (let round = 0; round < 40; round++) {
      const cloud = Array.from({ length: 4 + round }, () =>
        [0, 1, 2].map(() => between(random, -0.08, 0.08)),
      ) as [number, number, number][];
      const reference = hullDistanceByFaces(cloud);
      const ours = compiled({ kind: 'hull', points: cloud });
      for (let i = 0; i < 100; i++) {
        const point = points[(round * 50 + i) % points.length];
        const distance = signedDistance(ours, point.x, point.y, point.z, normal);
        expect(Math.abs(distance - reference(point.x, point.y, point.z))).toBeLessThan(1e-8);
      }
    }
  });
});

describe('hull against three.js', () => {
  it('has the same vertices as ConvexHull, for clouds up to the largest that an app may send', () => {
    for (const size of [4, 8, 20, 64, 256]) {
      const cloud = Array.from({ length: size }, () => {
        const direction = new Vector3(
          between(random, -1, 1),
          between(random, -1, 1),
          between(random, -1, 1),
        ).normalize();
        return direction.multiplyScalar(between(random, 0.03, 0.05));
      });
      const hull = buildHull(cloud.map((point) => point.toArray()));
      if (typeof hull === 'string') throw new Error(hull);
      const ours = new Set<string>();
      for (let i = 0; i < hull.vertices.length; i += 3) ours.add(hull.vertices.slice(i, i + 3).join());
      const theirs = new Set<string>();
      for (const face of new ConvexHull().setFromPoints(cloud).faces) {
        let edge = face.edge;
        do {
          theirs.add(edge.head().point.toArray().join());
          edge = edge.next;
        } while (edge !== face.edge);
      }
      expect([...ours].sort()).toEqual([...theirs].sort());
    }
  });
});

describe('distance of a bone against three.js', () => {
  it('to a capsule, untapered: Line3.distanceSqToLine3', () => {
    const axis = new Line3(new Vector3(0, -0.04, 0), new Vector3(0, 0.04, 0));
    const shape = compiled({ kind: 'capsule', radius: 0.01, length: 0.08 });
    const out = createBoneDistance();
    for (let i = 0; i + 1 < points.length; i += 2) {
      const bone = new Line3(points[i], points[i + 1]);
      const expected = Math.sqrt(bone.distanceSqToLine3(axis)) - 0.018;
      const ends = Float64Array.of(...points[i].toArray(), ...points[i + 1].toArray());
      boneDistance(shape, ends, 0, 0.008, 0.008, 0.5, EXACT, 0, 1, 1, out);
      if (expected > -0.017) expect(Math.abs(out.distance - expected)).toBeLessThan(5e-7);
    }
  });

  it('to a face: Triangle.closestPointToPoint of the nearest of many points', () => {
    const corners: [number, number, number][] = [
      [0, 0, 0],
      [0.1, 0, 0],
      [0, 0.1, 0],
      [0, 0, -0.1],
    ];
    const shape = compiled({ kind: 'hull', points: corners });
    const face = new Triangle(
      ...([0, 1, 2].map((i) => new Vector3(...corners[i])) as [Vector3, Vector3, Vector3]),
    );
    const nearest = new Vector3();
    const out = createBoneDistance();
    for (let i = 0; i < 200; i++) {
      // Above the face z = 0 only that face can be nearest.
      const a = points[i].clone().setZ(between(random, 0.001, 0.1));
      const b = points[i + 200].clone().setZ(between(random, 0.001, 0.1));
      let least = Number.POSITIVE_INFINITY;
      for (let k = 0; k <= 1000; k++) {
        const point = a.clone().lerp(b, k / 1000);
        least = Math.min(least, face.closestPointToPoint(point, nearest).distanceTo(point));
      }
      boneDistance(shape, Float64Array.of(...a.toArray(), ...b.toArray()), 0, 0, 0, 0.5, EXACT, 0, 1, 1, out);
      expect(out.distance).toBeLessThan(least + 2e-7);
      expect(out.distance).toBeGreaterThan(least - 3e-4);
    }
  });
});
