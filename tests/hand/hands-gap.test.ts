import { Line3, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import { createHandsGap } from '../../src/hand/hands-gap.js';
import {
  createPoses,
  createSkeleton,
  FINGER_BASE,
  FINGER_JOINTS,
  FINGERS,
  forwardKinematics,
  JOINT_NAMES,
  POSE_STRIDE,
} from '../../src/hand/index.js';
import { turnBy } from '../../src/hand/rotation.js';
import { randomDofs, randomSkeleton, seeded } from './chain.js';

const gapOf = createHandsGap();
const BONES = FINGERS.flatMap((_, finger) =>
  Array.from({ length: FINGER_JOINTS[finger] - 1 }, (_, i) => FINGER_BASE[finger] + i),
);
const pointOf = (poses: Float64Array, joint: number): Vector3 =>
  new Vector3().fromArray(poses, joint * POSE_STRIDE);

/** By three.js, bone against bone: the points of two segments that are nearest, radii taken off where they are. */
function byThree(one: Float64Array, other: Float64Array): number {
  let least = Number.POSITIVE_INFINITY;
  for (const a of BONES) {
    const line = new Line3(pointOf(one, a), pointOf(one, a + 1));
    for (const b of BONES) {
      const against = new Line3(pointOf(other, b), pointOf(other, b + 1));
      const [near, far] = [new Vector3(), new Vector3()];
      line.distanceSqToLine3(against, near, far);
      const radius = (poses: Float64Array, bone: number, on: Line3, at: Vector3): number => {
        const part = on.closestPointToPointParameter(at, true);
        const [from, to] = [poses[bone * POSE_STRIDE + 7], poses[bone * POSE_STRIDE + 15]];
        return from + part * (to - from);
      };
      const gap = near.distanceTo(far) - radius(one, a, line, near) - radius(other, b, against, far);
      least = Math.min(least, gap);
    }
  }
  return least;
}

describe('the gap between two hands', () => {
  it('is that of the nearest bones, by three.js', () => {
    const random = seeded(3);
    const [one, other] = [createPoses(), createPoses()];
    let overlaps = 0;
    for (let n = 0; n < 200; n++) {
      const turn = turnBy([0, 0, 0, 1], [random() * 3 - 1.5, random() * 3 - 1.5, random() * 3 - 1.5]);
      const place = [0.3 * random() - 0.15, 0.2 * random() - 0.1, 0.3 * random() - 0.15];
      forwardKinematics(randomSkeleton(random, 'right'), randomDofs(random), one);
      forwardKinematics(randomSkeleton(random, 'left'), randomDofs(random), other, [...place, ...turn]);
      const { gapM } = gapOf(one, other);
      expect(gapM).toBeCloseTo(byThree(one, other), 9);
      if (gapM < 0) overlaps++;
    }
    expect(overlaps).toBeGreaterThan(20);
    expect(overlaps).toBeLessThan(180);
  });

  it('of two open hands, fingertip to fingertip, is at the tips of the middle fingers; out of reach it is infinite', () => {
    const [right, left] = [createSkeleton({ side: 'right' }), createSkeleton({ side: 'left' })];
    const [one, other] = [createPoses(), createPoses()];
    const open = new Float64Array(22);
    forwardKinematics(right, open, one);
    const tip = JOINT_NAMES.indexOf('middle-finger-tip') * POSE_STRIDE;
    // Half a turn about Y: the left hand points back at the right one, and their middle fingertips are 5 mm apart.
    forwardKinematics(left, open, other, [0, 0, 0, 0, 1, 0, 0]);
    const reach = one[tip + 7] + other[tip + 7] + 0.005;
    const place = [0, 1, 2].map((k) => one[tip + k] - other[tip + k]);
    place[2] -= reach;
    forwardKinematics(left, open, other, [...place, 0, 1, 0, 0]);
    const { gapM, bone, otherBone } = gapOf(one, other);
    expect(gapM).toBeCloseTo(0.005, 4);
    expect([bone, otherBone].map((at) => JOINT_NAMES[at])).toEqual([
      'middle-finger-phalanx-distal',
      'middle-finger-phalanx-distal',
    ]);
    forwardKinematics(left, open, other, [2, 0, 0, 0, 0, 0, 1]);
    expect(gapOf(one, other).gapM).toBe(Number.POSITIVE_INFINITY);
  });
});
