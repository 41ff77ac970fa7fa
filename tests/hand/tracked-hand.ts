import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import type { JointPositions } from '../../src/hand/joint-positions.js';
import { JOINT_NAMES, POSE_STRIDE } from '../../src/hand/joints.js';
import { createSkeleton } from '../../src/hand/skeleton.js';

/** What a hand tracker sees of a right hand of this length, every joint bent by so many radians. */
export function trackedHand(lengthM: number, bentRad = 0.2): JointPositions {
  const poses = createPoses();
  const dofs = new Float64Array(DOF_COUNT).fill(bentRad);
  forwardKinematics(createSkeleton({ side: 'right', lengthM }), dofs, poses);
  const at = (joint: number) => [...poses.subarray(joint * POSE_STRIDE, joint * POSE_STRIDE + 3)];
  return Object.fromEntries(JOINT_NAMES.map((name, joint) => [name, at(joint)]));
}
