import type { DofArray } from './dofs.js';
import { createPoses, forwardKinematics, type PoseArray } from './forward.js';
import { FINGERS, POSE_STRIDE } from './joints.js';
import { conjugate, rotate, turnBy, type Vector } from './rotation.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

/**
 * How a tracker sits on a hand, seen through fingertips that rest on one fixed point.
 *
 *   world <- tracker <- wrist <- fingertip        tracker pose . mount . fingertip = point
 *
 * Unknown, in this order: the mount (place 3, m; turn 3, radians, in the tracker's frame), the point (3, m, world),
 * and thirteen for each finger: what each joint angle is off (4, radians), how much longer each bone of its chain is
 * (3, parts), where on the fingertip it touches (3, m, from the middle between pad and end: sideways, out of the
 * fingertip, along the skin towards the end), and how far from the point it came down (3, m, world).
 */
export const MOUNT_PLACE = 0;
export const MOUNT_TURN = 3;
export const POINT = 6;
export const OF_FINGERS = 9;
export const PER_FINGER = 13;
/** So many of them are of the hand; the rest is where the finger comes down. */
export const OF_HAND = 10;
export const UNKNOWNS = OF_FINGERS + FINGERS.length * PER_FINGER;
const BONES = 4;
const PAD = 7;
const AIM = OF_HAND;

/** A pose: [x, y, z, qx, qy, qz, qw]. */
export type RigidPose = ArrayLike<number>;

/** One look at the hand while a fingertip rests on the point. */
export interface MountSample {
  /** Index into FINGERS of the finger that touches. */
  readonly finger: number;
  /** Of the tracker, in the world. */
  readonly tracker: RigidPose;
  /** What the glove says of the joints, radians, in DOF_NAMES order. */
  readonly dofs: DofArray;
}

/** A guess at everything unknown. */
export interface MountState {
  /** Of the wrist, in the frame of the tracker. */
  readonly mount: Float64Array;
  readonly point: Float64Array;
  /** The unknowns of the fingers, from OF_FINGERS on. */
  readonly fingers: Float64Array;
}

export const createMountState = (mount: RigidPose, point: ArrayLike<number>): MountState => ({
  mount: Float64Array.from(mount),
  point: Float64Array.from(point),
  fingers: new Float64Array(UNKNOWNS - OF_FINGERS),
});

/** Room for the evaluation of one sample. */
export interface MountRoom {
  readonly skeleton: Skeleton;
  readonly dofs: DofArray;
  readonly poses: PoseArray;
  /** Where the finger touches, in the frame of the wrist, m. */
  readonly touch: Float64Array;
  /** By how much the touch misses the point, in the frame of the tracker, m. */
  readonly miss: Float64Array;
  /** Derivatives of `miss`: 3 x UNKNOWNS, of which only this finger's are written. */
  readonly slopes: Float64Array;
}

export const createMountRoom = (skeleton: Skeleton, dofCount: number): MountRoom => ({
  skeleton: { ...skeleton, chainLengths: Float64Array.from(skeleton.chainLengths) },
  dofs: new Float64Array(dofCount),
  poses: createPoses(),
  touch: new Float64Array(3),
  miss: new Float64Array(3),
  slopes: new Float64Array(3 * UNKNOWNS),
});

/**
 * Half way from the pad (-Y) to the end (-Z) of a fingertip, and most of the way out to the skin: a fingertip rolls on
 * what it touches, and what rolls stands still in the world as if the touch were nearer to the joint.
 */
const HALF_WAY = 0.75 * Math.SQRT1_2;

/** Where a finger touches, for its unknowns, in `room.touch`. */
export function fillTouch(
  room: MountRoom,
  from: Skeleton,
  fingers: Float64Array,
  finger: number,
  dofs: DofArray,
): void {
  const own = finger * PER_FINGER;
  const { skeleton, poses, touch } = room;
  room.dofs.set(dofs);
  for (let i = 0; i < 4; i++) room.dofs[finger * 4 + i] += fingers[own + i];
  for (let i = 0; i < 3; i++) {
    const bone = finger * 3 + i;
    skeleton.chainLengths[bone] = from.chainLengths[bone] * (1 + fingers[own + BONES + i]);
  }
  forwardKinematics(skeleton, room.dofs, poses);
  const tip = (CHAIN_START[finger] + 3) * POSE_STRIDE;
  const inside = HALF_WAY * from.radii[CHAIN_START[finger] + 3];
  const pad = fingers.subarray(own + PAD, own + PAD + 3);
  const [out, along] = [pad[1] * Math.SQRT1_2, pad[2] * Math.SQRT1_2];
  const at = rotate(poses.subarray(tip + 3, tip + 7), [pad[0], along - out - inside, -along - out - inside]);
  for (let k = 0; k < 3; k++) touch[k] = poses[tip + k] + at[k];
}

/** The miss of one sample, and with `slopes` what changes it. */
export function fillMiss(
  room: MountRoom,
  from: Skeleton,
  { mount, point, fingers }: MountState,
  { finger, tracker, dofs }: MountSample,
  slopes: boolean,
): void {
  fillTouch(room, from, fingers, finger, dofs);
  const { touch, miss, skeleton, poses } = room;
  const turn = mount.subarray(3, 7);
  const toTracker = conjugate([tracker[3], tracker[4], tracker[5], tracker[6]]);
  const own = finger * PER_FINGER;
  const seen = rotate(
    toTracker,
    [0, 1, 2].map((k) => point[k] + fingers[own + AIM + k] - tracker[k]) as Vector,
  );
  const held = rotate(turn, touch);
  for (let k = 0; k < 3; k++) miss[k] = seen[k] - mount[k] - held[k];
  if (!slopes) return;

  const set = (unknown: number, [x, y, z]: Vector, sign: number): void => {
    room.slopes[unknown] = sign * x;
    room.slopes[UNKNOWNS + unknown] = sign * y;
    room.slopes[2 * UNKNOWNS + unknown] = sign * z;
  };
  for (let k = 0; k < 3; k++) {
    const axis = AXES[k];
    set(MOUNT_PLACE + k, axis, -1);
    set(MOUNT_TURN + k, cross(axis, held), -1);
    set(POINT + k, rotate(toTracker, axis), 1);
    set(OF_FINGERS + own + AIM + k, rotate(toTracker, axis), 1);
  }
  const start = CHAIN_START[finger];
  // All flexion axes of a finger are one; each turns what lies beyond its joint, by minus the angle.
  const flexion = rotate(turnOf(poses, start), AXES[0]);
  for (const [dof, joint] of [start, start, start + 1, start + 2].entries()) {
    const arm: Vector = [0, 1, 2].map((k) => touch[k] - poses[joint * POSE_STRIDE + k]) as Vector;
    const axis = dof === 1 ? abductionAxis(skeleton, poses, finger) : flexion;
    set(OF_FINGERS + own + dof, rotate(turn, cross(axis, arm)), dof === 1 ? -1 : 1);
  }
  for (let i = 0; i < 3; i++) {
    const length = from.chainLengths[finger * 3 + i];
    set(OF_FINGERS + own + BONES + i, rotate(turn, rotate(turnOf(poses, start + i), [0, 0, -length])), -1);
    set(OF_FINGERS + own + PAD + i, rotate(turn, rotate(turnOf(poses, start + 3), PAD_AXES[i])), -1);
  }
}

/** The state after a step. */
export function shiftMount({ mount, point, fingers }: MountState, step: ArrayLike<number>): MountState {
  const moved = Float64Array.from(mount);
  for (let k = 0; k < 3; k++) moved[k] += step[MOUNT_PLACE + k];
  const by = [step[MOUNT_TURN], step[MOUNT_TURN + 1], step[MOUNT_TURN + 2]];
  if (Math.hypot(...by) > 0) moved.set(turnBy(mount.subarray(3, 7), by), 3);
  return {
    mount: moved,
    point: point.map((value, k) => value + step[POINT + k]),
    fingers: fingers.map((value, i) => value + step[OF_FINGERS + i]),
  };
}

const AXES: readonly Vector[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

/** Sideways, out of the fingertip between pad and end, along its skin towards the end. */
const PAD_AXES: readonly Vector[] = [
  [1, 0, 0],
  [0, -Math.SQRT1_2, -Math.SQRT1_2],
  [0, Math.SQRT1_2, -Math.SQRT1_2],
];

const turnOf = (poses: PoseArray, joint: number): Float64Array =>
  poses.subarray(joint * POSE_STRIDE + 3, joint * POSE_STRIDE + 7);

/** +Y of the chain at rest, on the joint that carries it, in the sense of positive abduction. */
function abductionAxis({ restRotations, abductionSign }: Skeleton, poses: PoseArray, finger: number): Vector {
  const start = CHAIN_START[finger];
  const atRest = rotate(restRotations.subarray(start * 4, start * 4 + 4), [0, abductionSign[finger], 0]);
  return finger === 0 ? atRest : rotate(turnOf(poses, start - 1), atRest);
}

export function cross(a: ArrayLike<number>, b: ArrayLike<number>): Vector {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}
