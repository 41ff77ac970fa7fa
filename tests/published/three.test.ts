/**
 * Forward kinematics against three.js (https://threejs.org), whose scene graph composes the same joints by
 * matrices: an outside implementation of what our closed form must give.
 */
import { Quaternion, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import {
  createPoses,
  forwardKinematics,
  HAND_SIDES,
  JOINT_COUNT,
  POSE_STRIDE,
} from '../../src/hand/index.js';
import { randomDofs, randomSkeleton, seeded, threeChain } from '../hand/chain.js';

const HANDS = 50;
const POSES_PER_HAND = 100;

describe('forward kinematics against three.js', () => {
  for (const side of HAND_SIDES) {
    for (const rooted of [false, true]) {
      const where = rooted ? 'with the wrist anywhere' : 'with the wrist at the origin';
      it(`${side} hand, ${where}: ${HANDS * POSES_PER_HAND} poses within 1e-6 m and 1e-6 rad`, () => {
        const random = seeded(rooted ? 7 : 3);
        const poses = createPoses();
        const position = new Vector3();
        const theirs = new Quaternion();
        const scale = new Vector3();
        let worstPosition = 0;
        let worstAngle = 0;
        for (let hand = 0; hand < HANDS; hand++) {
          const skeleton = randomSkeleton(random, side);
          const chain = threeChain(skeleton);
          for (let i = 0; i < POSES_PER_HAND; i++) {
            const dofs = randomDofs(random);
            let root: number[] | undefined;
            if (rooted) {
              const q = new Quaternion(
                random() - 0.5,
                random() - 0.5,
                random() - 0.5,
                random() - 0.5,
              ).normalize();
              root = [random() * 2 - 1, random() * 2, random() * 2 - 1, ...q.toArray()];
              chain.wrist.position.fromArray(root);
              chain.wrist.quaternion.copy(q);
            }
            chain.pose(dofs);
            forwardKinematics(skeleton, dofs, poses, root);
            for (let joint = 0; joint < JOINT_COUNT; joint++) {
              const at = joint * POSE_STRIDE;
              chain.joints[joint].matrixWorld.decompose(position, theirs, scale);
              const [x, y, z, qx, qy, qz, qw] = poses.subarray(at, at + 7);
              worstPosition = Math.max(
                worstPosition,
                Math.hypot(x - position.x, y - position.y, z - position.z),
              );
              // The vector part of conj(theirs) * ours is sin(angle / 2): exact where acos of the dot is not.
              const d = theirs.conjugate().multiply(new Quaternion(qx, qy, qz, qw));
              worstAngle = Math.max(worstAngle, 2 * Math.asin(Math.min(1, Math.hypot(d.x, d.y, d.z))));
            }
          }
        }
        expect(worstPosition).toBeLessThan(1e-6);
        expect(worstAngle).toBeLessThan(1e-6);
      });
    }
  }
});
