import { JOINT_COUNT, JOINT_PARENT, PALM, POSE_STRIDE, VELOCITY_STRIDE, WRIST } from '../hand/joints.js';
import type { HandPose } from './pose.js';

/** Farthest that a pose is carried ahead of its sample, µs: beyond this, a guess looks worse than a late pose. */
export const MAX_AHEAD_US = 50_000;

/** Parents before children: the wrist, the palm, then each finger outward. */
const ORDER = [WRIST, PALM, ...Array.from({ length: JOINT_COUNT - 2 }, (_, i) => i + 2)];
/** Rotation of each joint over the time ahead. Shared: nothing is allocated. */
const turns = new Float64Array(JOINT_COUNT * 4);
const bone = new Float64Array(3);

/**
 * Carries a pose ahead by constant velocities: every joint turns with its angular velocity, the wrist moves
 * with its velocity, and bones keep their lengths. Without velocities, or when the pose is not valid, it is copied.
 *
 * @param aheadUs beyond what the pose is ahead already; taken as 0..MAX_AHEAD_US over all
 * @param into written in full; may be an older pose of the app, but not `pose`
 */
export function predict(pose: HandPose, aheadUs: number, into: HandPose): HandPose {
  into.hand = pose.hand;
  into.seq = pose.seq;
  into.timeUs = pose.timeUs;
  into.space = pose.space;
  into.valid = pose.valid;
  into.recorded = pose.recorded;
  into.reason = pose.reason;
  into.fingers = pose.fingers;
  into.velocities = pose.velocities;
  into.pressures = pose.pressures;
  into.aheadUs = pose.aheadUs;
  const { velocities, poses: from } = pose;
  const to = into.poses;
  const stepUs = Math.max(0, Math.min(aheadUs, MAX_AHEAD_US - pose.aheadUs));
  if (!velocities || !pose.valid || !(stepUs > 0)) {
    to.set(from);
    return into;
  }
  into.aheadUs = pose.aheadUs + stepUs;
  const seconds = stepUs / 1e6;
  for (const joint of ORDER) {
    const at = joint * POSE_STRIDE;
    const v = joint * VELOCITY_STRIDE;
    turnBy(velocities[v + 3] * seconds, velocities[v + 4] * seconds, velocities[v + 5] * seconds, joint * 4);
    turn(joint * 4, from, at + 3, to, at + 3);
    const parent = JOINT_PARENT[joint];
    if (parent < 0) {
      for (let i = 0; i < 3; i++) to[at + i] = from[at + i] + velocities[v + i] * seconds;
    } else {
      const base = parent * POSE_STRIDE;
      for (let i = 0; i < 3; i++) bone[i] = from[at + i] - from[base + i];
      rotate(parent * 4, bone);
      for (let i = 0; i < 3; i++) to[at + i] = to[base + i] + bone[i];
    }
    to[at + 7] = from[at + 7];
  }
  return into;
}

/** Writes the quaternion of a rotation vector to turns[at…]. */
function turnBy(x: number, y: number, z: number, at: number): void {
  const angle = Math.hypot(x, y, z);
  const scale = angle > 1e-9 ? Math.sin(angle / 2) / angle : 0.5;
  turns[at] = x * scale;
  turns[at + 1] = y * scale;
  turns[at + 2] = z * scale;
  turns[at + 3] = Math.cos(angle / 2);
}

/** turns[t…] · from[f…] -> to[o…], normalised. */
function turn(t: number, from: Float32Array, f: number, to: Float32Array, o: number): void {
  const ax = turns[t];
  const ay = turns[t + 1];
  const az = turns[t + 2];
  const aw = turns[t + 3];
  const bx = from[f];
  const by = from[f + 1];
  const bz = from[f + 2];
  const bw = from[f + 3];
  const x = aw * bx + ax * bw + ay * bz - az * by;
  const y = aw * by - ax * bz + ay * bw + az * bx;
  const z = aw * bz + ax * by - ay * bx + az * bw;
  const w = aw * bw - ax * bx - ay * by - az * bz;
  const scale = 1 / (Math.hypot(x, y, z, w) || 1);
  to[o] = x * scale;
  to[o + 1] = y * scale;
  to[o + 2] = z * scale;
  to[o + 3] = w * scale;
}

/** Turns a vector by turns[t…], in place: v + 2 q × (q × v + w v). */
function rotate(t: number, v: Float64Array): void {
  const x = turns[t];
  const y = turns[t + 1];
  const z = turns[t + 2];
  const w = turns[t + 3];
  const cx = y * v[2] - z * v[1] + w * v[0];
  const cy = z * v[0] - x * v[2] + w * v[1];
  const cz = x * v[1] - y * v[0] + w * v[2];
  v[0] += 2 * (y * cz - z * cy);
  v[1] += 2 * (z * cx - x * cz);
  v[2] += 2 * (x * cy - y * cx);
}
