import { JOINT_COUNT, POSE_STRIDE } from './joints.js';

/** Skin lies further from its joint than the joint's radius, by so much at most: where a finger leaves the palm. */
const SKIN = 2;

/**
 * Whether a hand would look otherwise than it did.
 *
 * @param before 26 × POSE_STRIDE, of the same space as `poses`
 * @param leastM a move of the skin that would be seen
 */
export function hasMoved(before: ArrayLike<number>, poses: ArrayLike<number>, leastM: number): boolean {
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    const at = joint * POSE_STRIDE;
    const x = poses[at] - before[at];
    const y = poses[at + 1] - before[at + 1];
    const z = poses[at + 2] - before[at + 2];
    // Cosine of half the angle between them; a quaternion and its opposite are the same turn.
    let cosine = 0;
    for (let i = at + 3; i < at + 7; i++) cosine += poses[i] * before[i];
    const turnRad = 2 * Math.sqrt(Math.max(0, 1 - cosine * cosine));
    // Not less than: where something is not a number, nothing can be said.
    if (!(Math.sqrt(x * x + y * y + z * z) + turnRad * SKIN * poses[at + 7] < leastM)) return true;
  }
  return false;
}
