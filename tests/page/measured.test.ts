import { Matrix4, Quaternion, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import {
  createHandModel,
  createPoses,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  JOINT_COUNT,
  POSE_STRIDE,
} from '../../src/hand/index.js';
import { FINGER_BASE } from '../../src/hand/joints.js';
import type { HandInfo } from '../../src/page/live.js';
import { flexions, phalanges } from '../../src/page/measured.js';

/** Degrees of freedom of one finger: knuckle, abduction, and the joints beyond (dofs.ts). */
const [KNUCKLE, ABDUCTION, MIDDLE, END] = [0, 1, 2, 3];

describe.each(['left', 'right'] as const)('the measured %s hand', (side) => {
  const { skeleton } = createHandModel({ side });

  it('has the angles that its pose was made of, spread fingers too', () => {
    const open = createPoses();
    forwardKinematics(skeleton, new Float64Array(DOF_COUNT), open);
    for (let finger = 1; finger < FINGERS.length; finger++) {
      const dofs = new Float64Array(DOF_COUNT);
      dofs.set([0.7, 0.15, 1.1, 0.4], finger * 4);
      const poses = createPoses();
      forwardKinematics(skeleton, dofs, poses);
      const [before, now] = [flexions(open, finger), flexions(poses, finger)];
      expect(now[1] - before[1]).toBeCloseTo(dofs[finger * 4 + MIDDLE], 6);
      expect(now[2] - before[2]).toBeCloseTo(dofs[finger * 4 + END], 6);
      // Abduction and the arch of the palm turn the knuckle a little, too.
      expect(Math.abs(now[0] - before[0] - dofs[finger * 4 + KNUCKLE])).toBeLessThan(0.06);
      expect(dofs[finger * 4 + ABDUCTION]).toBeGreaterThan(0);
    }
  });

  // three.js as the reference: its quaternions and matrices.
  it('has the angles that three.js finds between its bones', () => {
    const poses = createPoses();
    const dofs = Float64Array.from({ length: DOF_COUNT }, (_, i) => 0.1 + 0.04 * i);
    forwardKinematics(skeleton, dofs, poses);
    const matrix = (joint: number) =>
      new Matrix4().makeRotationFromQuaternion(new Quaternion().fromArray(poses, joint * POSE_STRIDE + 3));
    for (let finger = 0; finger < FINGERS.length; finger++) {
      flexions(poses, finger).forEach((angle, i) => {
        const joint = FINGER_BASE[finger] + 1 + i;
        const bone = new Vector3(0, 0, -1).transformDirection(matrix(joint));
        bone.transformDirection(matrix(joint - 1).invert());
        expect(angle).toBeCloseTo(Math.atan2(-bone.y, -bone.z), 6);
      });
    }
  });

  it('has phalanges that add up to the way from knuckle to tip of a straight finger', () => {
    const restPoses = Array.from({ length: JOINT_COUNT }, (_, joint) =>
      Array.from(skeleton.restPoses.subarray(joint * POSE_STRIDE, joint * POSE_STRIDE + 7)),
    );
    const info = { skeleton: { restPoses } } as unknown as HandInfo;
    expect(FINGERS.map((_, finger) => phalanges(info, finger).length)).toEqual([2, 3, 3, 3, 3]);
    for (let finger = 0; finger < FINGERS.length; finger++) {
      const lengths = phalanges(info, finger);
      const at = (joint: number) => new Vector3().fromArray(restPoses[joint]);
      const first = FINGER_BASE[finger] + 1;
      const straight = at(first).distanceTo(at(first + lengths.length));
      expect(lengths.reduce((sum, one) => sum + one, 0)).toBeGreaterThanOrEqual(straight - 1e-9);
      for (const length of lengths) expect(length).toBeGreaterThan(0.01);
    }
  });
});
