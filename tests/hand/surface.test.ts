import { describe, expect, it } from 'vitest';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, POSE_STRIDE } from '../../src/hand/joints.js';
import { distanceToRoundCone } from '../../src/hand/round-cone.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import { createHandSurface, type HandSurface, NAIL } from '../../src/hand/surface.js';

const surfaceOf = (side: 'left' | 'right', lengthM?: number): HandSurface =>
  createHandSurface(createSkeleton({ side, ...(lengthM ? { lengthM } : {}) }).restPoses, side);
const right = surfaceOf('right');

const skinTriangles = ({ indices, parts }: HandSurface): number[][] => {
  const triangles: number[][] = [];
  for (let at = 0; at < indices.length; at += 3) {
    const corners = Array.from(indices.subarray(at, at + 3));
    if (parts[corners[0]] < NAIL) triangles.push(corners);
  }
  return triangles;
};

const volumeM3 = (surface: HandSurface): number => {
  const p = surface.positions;
  let sum = 0;
  for (const [a, b, c] of skinTriangles(surface).map((corners) => corners.map((n) => n * 3))) {
    sum +=
      p[a] * (p[b + 1] * p[c + 2] - p[b + 2] * p[c + 1]) +
      p[a + 1] * (p[b + 2] * p[c] - p[b] * p[c + 2]) +
      p[a + 2] * (p[b] * p[c + 1] - p[b + 1] * p[c]);
  }
  return sum / 6;
};

describe('the skin of a hand', () => {
  it('is closed: along each edge two triangles meet, in opposite directions', () => {
    const edges = new Map<string, number>();
    for (const [a, b, c] of skinTriangles(right)) {
      for (const [from, to] of [
        [a, b],
        [b, c],
        [c, a],
      ]) {
        edges.set(`${from} ${to}`, (edges.get(`${from} ${to}`) ?? 0) + 1);
      }
    }
    let odd = 0;
    for (const [edge, times] of edges) {
      const [from, to] = edge.split(' ');
      if (edges.get(`${to} ${from}`) !== times) odd++;
    }
    expect(odd).toBe(0);
  });

  it('looks outwards', () => {
    expect(volumeM3(right)).toBeGreaterThan(0);
    const { positions, normals } = right;
    const dot = (n: number, [a, b, c]: number[]) => {
      const at = (k: number, axis: number) => positions[k * 3 + axis];
      const u = [0, 1, 2].map((axis) => at(b, axis) - at(a, axis));
      const v = [0, 1, 2].map((axis) => at(c, axis) - at(a, axis));
      const face = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
      return face.reduce((sum, part, axis) => sum + part * normals[n * 3 + axis], 0);
    };
    const against = skinTriangles(right).filter((corners) => dot(corners[0], corners) < 0);
    expect(against.length / skinTriangles(right).length).toBeLessThan(0.002);
  });

  it('lies over each tip joint at its radius, whatever the size of the hand', () => {
    for (const lengthM of [0.16, 0.18, 0.21]) {
      const { positions, bindPoses, parts } = surfaceOf('right', lengthM);
      for (let finger = 0; finger < FINGERS.length; finger++) {
        const tip = FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;
        const at = tip * POSE_STRIDE;
        const [x, y, z, , , , , radius] = bindPoses.subarray(at);
        const [bx, by, bz] = bindPoses.subarray(at - POSE_STRIDE);
        const length = Math.hypot(x - bx, y - by, z - bz);
        const along = [(x - bx) / length, (y - by) / length, (z - bz) / length];
        let furthest = 0;
        for (let n = 0; n < parts.length; n++) {
          if (parts[n] !== finger) continue;
          const reach =
            (positions[n * 3] - x) * along[0] +
            (positions[n * 3 + 1] - y) * along[1] +
            (positions[n * 3 + 2] - z) * along[2];
          furthest = Math.max(furthest, reach);
        }
        expect(Math.abs(furthest - radius), `${lengthM} ${FINGERS[finger]}`).toBeLessThan(0.0004);
      }
    }
  });

  it('is carried in full: weights sum to 1, finger ends by their own bones alone', () => {
    const { weights, joints, parts } = right;
    for (let n = 0; n < parts.length; n++) {
      const own = weights.subarray(n * 4, n * 4 + 4);
      expect(own.reduce((sum, weight) => sum + weight, 0)).toBeCloseTo(1, 5);
      if (parts[n] >= FINGERS.length) continue;
      const base = FINGER_BASE[parts[n]];
      const beyondFirstBone = joints[n * 4] > base + 1;
      for (let slot = 0; slot < 4; slot++) {
        const joint = joints[n * 4 + slot];
        const itsOwn = joint >= base && joint < base + FINGER_JOINTS[parts[n]];
        if (!itsOwn)
          expect(own[slot], `${FINGERS[parts[n]]} by ${joint}`).toBeLessThan(beyondFirstBone ? 0.02 : 0.5);
      }
    }
  });

  it('of a left hand is the mirror image', () => {
    const left = surfaceOf('left');
    expect(volumeM3(left) / volumeM3(right)).toBeCloseTo(1, 2);
    const ends = ({ positions }: HandSurface, axis: number): [number, number] => {
      let [least, most] = [1, -1];
      for (let at = axis; at < positions.length; at += 3) {
        least = Math.min(least, positions[at]);
        most = Math.max(most, positions[at]);
      }
      return [least, most];
    };
    const [[fromR, toR], [fromL, toL]] = [ends(right, 0), ends(left, 0)];
    expect(fromL).toBeCloseTo(-toR, 3);
    expect(toL).toBeCloseTo(-fromR, 3);
  });

  it('has nails on the back of each finger end', () => {
    const { parts, normals, bindPoses } = right;
    for (let finger = 0; finger < FINGERS.length; finger++) {
      const own = [...parts.keys()].filter((n) => parts[n] === NAIL + finger);
      expect(own.length).toBeGreaterThan(50);
      const tip = (FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1) * POSE_STRIDE;
      const [qx, qy, qz, qw] = bindPoses.subarray(tip + 3);
      // +Y of the joint, towards the back of the hand: OpenXR, XR_EXT_hand_tracking.
      const up = [2 * (qx * qy - qz * qw), 1 - 2 * (qx * qx + qz * qz), 2 * (qy * qz + qx * qw)];
      for (const n of own) {
        const facing = up.reduce((sum, part, axis) => sum + part * normals[n * 3 + axis], 0);
        expect(facing).toBeGreaterThan(0.5);
      }
    }
  });
});

describe('the distance from a round cone', () => {
  it('is that of the nearest of many balls between its ends', () => {
    const cone = [0.01, -0.02, 0.005, 0.012, 0.03, 0.01, -0.02, 0.007] as const;
    for (const [x, y, z] of [
      [0, 0, 0],
      [0.05, 0.02, -0.03],
      [-0.01, -0.04, 0.02],
      [0.03, -0.02, 0],
    ]) {
      let nearest = Number.POSITIVE_INFINITY;
      for (let k = 0; k <= 100_000; k++) {
        const part = k / 100_000;
        const centre = [0, 1, 2].map((axis) => cone[axis] + (cone[axis + 4] - cone[axis]) * part);
        const radius = cone[3] + (cone[7] - cone[3]) * part;
        nearest = Math.min(nearest, Math.hypot(x - centre[0], y - centre[1], z - centre[2]) - radius);
      }
      expect(distanceToRoundCone(cone, x, y, z)).toBeCloseTo(nearest, 8);
    }
  });
});
