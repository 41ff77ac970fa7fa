import type { PoseArray } from './forward.js';
import { POSE_STRIDE } from './joints.js';

/**
 * Skin to skin distance between two bones, metres, negative where they overlap. A bone runs from a joint to the
 * next one in the table, its radius evenly from one's to the other's; the distance is taken where the two axes are
 * nearest (Ericson, Real-Time Collision Detection, 2005, 5.1.9: closest points of two segments).
 */
export function boneGap(poses: PoseArray, boneA: number, boneB: number): number {
  const a = boneA * POSE_STRIDE;
  const b = boneB * POSE_STRIDE;
  const ux = poses[a + 8] - poses[a];
  const uy = poses[a + 9] - poses[a + 1];
  const uz = poses[a + 10] - poses[a + 2];
  const vx = poses[b + 8] - poses[b];
  const vy = poses[b + 9] - poses[b + 1];
  const vz = poses[b + 10] - poses[b + 2];
  const wx = poses[a] - poses[b];
  const wy = poses[a + 1] - poses[b + 1];
  const wz = poses[a + 2] - poses[b + 2];
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  const uv = ux * vx + uy * vy + uz * vz;
  const uw = ux * wx + uy * wy + uz * wz;
  const vw = vx * wx + vy * wy + vz * wz;
  const area = uu * vv - uv * uv;
  let s = area > 1e-9 * uu * vv ? within((uv * vw - uw * vv) / area) : 0;
  let t = (uv * s + vw) / vv;
  if (t < 0 || t > 1) {
    t = within(t);
    s = within((uv * t - uw) / uu);
  }
  const dx = wx + s * ux - t * vx;
  const dy = wy + s * uy - t * vy;
  const dz = wz + s * uz - t * vz;
  const radiusA = poses[a + 7] + s * (poses[a + 15] - poses[a + 7]);
  const radiusB = poses[b + 7] + t * (poses[b + 15] - poses[b + 7]);
  return Math.sqrt(dx * dx + dy * dy + dz * dz) - radiusA - radiusB;
}

function within(share: number): number {
  return share < 0 ? 0 : Math.min(share, 1);
}
