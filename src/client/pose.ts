import type { Finger, HandSide, JointName } from '../hand/joints.js';
import { JOINT_COUNT, JOINT_NAMES, POSE_STRIDE, VELOCITY_STRIDE } from '../hand/joints.js';
import type { FingerState } from '../protocol/constants.js';
import type { ServerMessageOf } from '../protocol/messages.js';
import { decodeJoints, type JointsRecord } from '../stream/joints-record.js';

export type Vector3 = [x: number, y: number, z: number];
export type Quaternion = [x: number, y: number, z: number, w: number];

const JOINT_INDEX = new Map<string, number>(JOINT_NAMES.map((name, joint) => [name, joint]));

/** Where a joint is in the arrays. @throws RangeError for an unknown name */
export function jointIndex(name: JointName): number {
  const joint = JOINT_INDEX.get(name);
  if (joint === undefined) throw new RangeError(`There is no joint ${name}; see JOINT_NAMES.`);
  return joint;
}

/**
 * One pose of one hand: 26 joints, metres and unit quaternions in OpenXR's axes (−Z along the bone to the tip,
 * +Y out of the back of the hand). `poses` and `velocities` are flat, in the order of JOINT_NAMES; the methods read
 * them by name. Every pose is an object of its own and never changes once given out, except one that the app
 * itself passes to `poseAt`, and with `reusePoses`.
 */
export class HandPose implements JointsRecord {
  hand: HandSide = 'right';
  /** Counts the poses meant for this app; a gap is a pose that was dropped because the app was slow. */
  seq = 0;
  /** Time of the sample, µs of the service's clock. */
  timeUs = 0;
  /** What the pose is for: timeUs, or later where it is predicted; µs of the service's clock. */
  get poseTimeUs(): number {
    return this.timeUs + this.aheadUs;
  }
  set poseTimeUs(us: number) {
    this.aheadUs = us - this.timeUs;
  }
  /** How far the pose lies ahead of its sample, µs. */
  aheadUs = 0;
  /** `wrist`: the wrist is the origin, or moves near it (`forearmMm` of the profile). `world`: a tracker says where the wrist is. */
  space: 'wrist' | 'world' = 'wrist';
  /** False while the glove is silent: the pose is then the last known. */
  valid = false;
  /** A session is replayed: it is no hand of now. */
  recorded = false;
  /** Why not valid. */
  reason: string | undefined;
  /** tracked: sensed; inferred: filled in; invalid: not known. */
  fingers: Record<Finger, FingerState> = {
    thumb: 'invalid',
    index: 'invalid',
    middle: 'invalid',
    ring: 'invalid',
    little: 'invalid',
  };
  /** 26 × [x, y, z, qx, qy, qz, qw, radius]. */
  poses = new Float32Array(JOINT_COUNT * POSE_STRIDE);
  /** 26 × [vx, vy, vz, wx, wy, wz], m/s and rad/s, if subscribed. */
  velocities: Float32Array | undefined;
  /** How firmly each finger presses on what it touches, thumb first, 0..1, if subscribed with `surface`. */
  pressures: Float32Array | undefined;

  /** Position of a joint, m. */
  position(name: JointName, out: Vector3 = [0, 0, 0]): Vector3 {
    const at = jointIndex(name) * POSE_STRIDE;
    for (let i = 0; i < 3; i++) out[i] = this.poses[at + i];
    return out;
  }

  /** Orientation of a joint, unit quaternion x y z w. */
  orientation(name: JointName, out: Quaternion = [0, 0, 0, 1]): Quaternion {
    const at = jointIndex(name) * POSE_STRIDE + 3;
    for (let i = 0; i < 4; i++) out[i] = this.poses[at + i];
    return out;
  }

  /** From the joint to the skin, m. */
  radius(name: JointName): number {
    return this.poses[jointIndex(name) * POSE_STRIDE + 7];
  }

  /** Velocity of a joint, m/s; undefined unless velocities are subscribed. */
  velocity(name: JointName, out: Vector3 = [0, 0, 0]): Vector3 | undefined {
    return this.#velocity(jointIndex(name) * VELOCITY_STRIDE, out);
  }

  /** Angular velocity of a joint, rad/s, in the frame of the positions; undefined unless subscribed. */
  angularVelocity(name: JointName, out: Vector3 = [0, 0, 0]): Vector3 | undefined {
    return this.#velocity(jointIndex(name) * VELOCITY_STRIDE + 3, out);
  }

  #velocity(at: number, out: Vector3): Vector3 | undefined {
    if (!this.velocities) return undefined;
    for (let i = 0; i < 3; i++) out[i] = this.velocities[at + i];
    return out;
  }
}

const fresh = (): HandPose => new HandPose();

/**
 * @param poseOf gives the pose of that hand that is to be filled in
 * @throws RangeError if the bytes are not a joints record
 */
export function poseFromBytes(
  bytes: ArrayBuffer | Uint8Array,
  poseOf: (hand: HandSide) => HandPose = fresh,
): HandPose {
  return decodeJoints(bytes, poseOf);
}

/** @throws RangeError if the poses are not 26 × 8 numbers */
export function poseFromMessage(message: ServerMessageOf<'joints'>): HandPose {
  const pose = new HandPose();
  const {
    hand,
    seq,
    timeUs,
    poseTimeUs = timeUs,
    space,
    valid,
    recorded = false,
    reason,
    fingers,
    poses,
    velocities,
  } = message;
  Object.assign(pose, { hand, seq, timeUs, poseTimeUs, space, valid, recorded, reason, fingers });
  flatten(poses, POSE_STRIDE, pose.poses);
  if (message.pressures) pose.pressures = Float32Array.from(message.pressures);
  if (velocities) {
    pose.velocities = new Float32Array(JOINT_COUNT * VELOCITY_STRIDE);
    flatten(velocities, VELOCITY_STRIDE, pose.velocities);
  }
  return pose;
}

function flatten(rows: number[][], stride: number, into: Float32Array): void {
  if (rows.length !== JOINT_COUNT) throw new RangeError(`not a joints message: ${rows.length} joints`);
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    for (let i = 0; i < stride; i++) into[joint * stride + i] = rows[joint][i];
  }
}
