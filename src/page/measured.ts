import { FINGER_BASE, FINGER_JOINTS, POSE_STRIDE } from '../hand/joints.js';
import type { HandInfo } from './live.js';

/** Lengths of a finger's phalanges, from the knuckle to the tip, m. The thumb has two of them. */
export function phalanges({ skeleton }: Pick<HandInfo, 'skeleton'>, finger: number): number[] {
  const { restPoses } = skeleton;
  const [first, last] = [FINGER_BASE[finger] + 1, FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1];
  const lengths: number[] = [];
  for (let joint = first; joint < last; joint++) {
    const [[x, y, z], [toX, toY, toZ]] = [restPoses[joint], restPoses[joint + 1]];
    lengths.push(Math.hypot(toX - x, toY - y, toZ - z));
  }
  return lengths;
}

/**
 * How far each joint of a finger is bent towards the palm, rad, from the knuckle outwards: by how much its bone, along
 * -Z in the frame of a joint (WebXR), is turned about the X axis of the bone before it.
 */
export function flexions(poses: ArrayLike<number>, finger: number): number[] {
  const [first, last] = [FINGER_BASE[finger] + 1, FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1];
  const angles: number[] = [];
  for (let joint = first; joint < last; joint++) {
    const [ax, ay, az, aw] = turnOf(poses, joint - 1);
    const [bx, by, bz, bw] = turnOf(poses, joint);
    // The turn from the bone before it, then where it takes -Z.
    const x = aw * bx - ax * bw - ay * bz + az * by;
    const y = aw * by - ay * bw - az * bx + ax * bz;
    const z = aw * bz - az * bw - ax * by + ay * bx;
    const w = aw * bw + ax * bx + ay * by + az * bz;
    angles.push(Math.atan2(2 * (y * z - w * x), 1 - 2 * (x * x + y * y)));
  }
  return angles;
}

const turnOf = (poses: ArrayLike<number>, joint: number): [number, number, number, number] => {
  const at = joint * POSE_STRIDE;
  return [poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]];
};
