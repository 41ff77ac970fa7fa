import { POSE_STRIDE } from '../../src/hand/index.js';

const STEPS = 16;

/**
 * Skin to skin distance between the bones that start at two joints, metres, negative when they overlap: by
 * stepping along both, the radius running evenly from joint to joint.
 */
export function capsuleGap(poses: Float64Array, jointA: number, jointB: number): number {
  const point = (joint: number, t: number) => {
    const a = poses.subarray(joint * POSE_STRIDE);
    const b = poses.subarray((joint + 1) * POSE_STRIDE);
    return [0, 1, 2, 7].map((k) => a[k] + (b[k] - a[k]) * t);
  };
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i <= STEPS; i++) {
    const [ax, ay, az, ar] = point(jointA, i / STEPS);
    for (let k = 0; k <= STEPS; k++) {
      const [bx, by, bz, br] = point(jointB, k / STEPS);
      least = Math.min(least, Math.hypot(ax - bx, ay - by, az - bz) - ar - br);
    }
  }
  return least;
}
