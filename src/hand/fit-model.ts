import { DOF_COUNT, DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import { createPoses, forwardKinematics, type PoseArray } from './forward.js';
import { distanceBetween, type PointArray } from './joint-positions.js';
import {
  FINGER_BASE,
  FINGER_JOINTS,
  FINGERS,
  type Finger,
  type HandSide,
  JOINT_COUNT,
  PALM,
  POSE_STRIDE,
  WRIST,
} from './joints.js';
import { defaultPlacement, type HandPlacement, type PointM } from './placement.js';
import { RADIUS_PER_BREADTH } from './proportions.js';
import { conjugate, multiply, rotate, turnBy, type Vector } from './rotation.js';
import { CHAIN_START, createSkeleton, type Skeleton } from './skeleton.js';

/**
 * The unknowns of a hand. Shared by all frames, ten a finger: CMC joint (3, metres), knuckle (3; unused by the
 * thumb), roll or the thumb's turn (radians), lengths of the chain's three bones (to the tip joint).
 * A frame's own: place and turn of the wrist (6), degrees of freedom (22).
 */
export const SHARED_PER_FINGER = 10;
export const SHARED_SIZE = FINGERS.length * SHARED_PER_FINGER;
export const FRAME_SIZE = 6 + DOF_COUNT;

const KNUCKLE = 3;
const ROLL = 6;
const LENGTHS = 7;
const WIDTH = SHARED_SIZE + FRAME_SIZE;

export interface HandState {
  readonly lengthM: number;
  readonly breadthM: number;
  readonly shared: Float64Array;
  /** What `shared` is for the default hand of this size; its lengths mean nothing. */
  readonly expected: Float64Array;
  readonly frames: readonly FrameState[];
  /** A right hand, built from `shared`. */
  readonly skeleton: Skeleton;
}

export interface FrameState {
  readonly root: Float64Array;
  readonly dofs: DofArray;
  /** Where abductions and arches are pulled to as far as the positions leave them open. */
  readonly expected: DofArray;
  readonly poses: PoseArray;
}

/** The default hand's placement with the measured chain lengths, averaged over the frames. */
export function startShared(lengthM: number, breadthM: number, frames: readonly PointArray[]): Float64Array {
  const shared = new Float64Array(SHARED_SIZE);
  const placement = defaultPlacement(lengthM, breadthM);
  for (const [finger, name] of FINGERS.entries()) {
    const at = finger * SHARED_PER_FINGER;
    const start = CHAIN_START[finger];
    shared.set(placement[name].baseM, at);
    if (name === 'thumb') shared[at + ROLL] = (placement.thumb.turnDeg * Math.PI) / 180;
    else {
      shared.set(placement[name].knuckleM, at + KNUCKLE);
      shared[at + ROLL] = (placement[name].rollDeg * Math.PI) / 180;
    }
    for (let i = 0; i < 3; i++) {
      for (const points of frames)
        shared[at + LENGTHS + i] += distanceBetween(points, start + i, start + i + 1) / frames.length;
    }
  }
  return shared;
}

export function buildSkeleton(
  side: HandSide,
  lengthM: number,
  breadthM: number,
  shared: Float64Array,
): Skeleton {
  const boneLengthsM: Partial<Record<Finger, readonly number[]>> = {};
  const defaults = defaultPlacement(lengthM, breadthM);
  const placement: { -readonly [name in keyof HandPlacement]: HandPlacement[name] } = { ...defaults };
  for (const [finger, name] of FINGERS.entries()) {
    const at = finger * SHARED_PER_FINGER;
    const baseM = pointAt(shared, at);
    const rollDeg = (shared[at + ROLL] * 180) / Math.PI;
    const tipRadius = RADIUS_PER_BREADTH[name][FINGER_JOINTS[finger] - 1] * breadthM;
    const [first, second, third] = shared.subarray(at + LENGTHS, at + LENGTHS + 3);
    const chain = [first, second, third + tipRadius];
    if (name === 'thumb') {
      placement.thumb = { baseM, fanDeg: defaults.thumb.fanDeg, turnDeg: rollDeg };
      boneLengthsM.thumb = chain;
    } else {
      const knuckleM = pointAt(shared, at + KNUCKLE);
      placement[name] = { baseM, knuckleM, fanDeg: defaults[name].fanDeg, rollDeg };
      const metacarpal = Math.hypot(...[0, 1, 2].map((k) => knuckleM[k] - baseM[k]));
      boneLengthsM[name] = [metacarpal, ...chain];
    }
  }
  return createSkeleton({ side, lengthM, breadthM, boneLengthsM, placement });
}

/** The state after a step, or undefined if no hand can have such bones. */
export function shiftState(
  state: HandState,
  sharedStep: Float64Array,
  frameSteps: readonly Float64Array[],
): HandState | undefined {
  const { lengthM, breadthM, expected } = state;
  const shared = state.shared.map((value, i) => value + sharedStep[i]);
  let skeleton: Skeleton;
  try {
    skeleton = buildSkeleton('right', lengthM, breadthM, shared);
  } catch (error) {
    if (error instanceof RangeError) return undefined;
    throw error;
  }
  const frames = state.frames.map(({ root, dofs, expected }, n) => {
    const step = frameSteps[n];
    const moved = Float64Array.from(root);
    for (let k = 0; k < 3; k++) moved[k] += step[k];
    moved.set(turnBy(root.subarray(3, 7), step.subarray(3, 6)), 3);
    return poseFrame(
      skeleton,
      moved,
      dofs.map((angle, i) => angle + step[6 + i]),
      expected,
    );
  });
  return { lengthM, breadthM, shared, expected, frames, skeleton };
}

export function poseFrame(
  skeleton: Skeleton,
  root: Float64Array,
  dofs: DofArray,
  expected: DofArray,
): FrameState {
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses, root);
  return { root, dofs, expected, poses };
}

/** Model minus measurement, JOINT_COUNT x 3. The palm follows from the other joints and is not weighed. */
export function fillResiduals(state: HandState, frame: number, points: PointArray, out: Float64Array): void {
  const { poses } = state.frames[frame];
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    for (let k = 0; k < 3; k++) {
      out[joint * 3 + k] = joint === PALM ? 0 : poses[joint * POSE_STRIDE + k] - points[joint * 3 + k];
    }
  }
}

/**
 * Derivatives of the joint positions by every unknown, shared ones first. All of them are shifts along a known
 * axis or turns about one; only the turn of the arch's own axis with the metacarpal is left out (second order).
 */
export function fillJacobian(state: HandState, frame: number, jacobian: Float64Array): void {
  const { skeleton } = state;
  const { poses, root, dofs } = state.frames[frame];
  jacobian.fill(0);
  const wristTurn = root.subarray(3, 7);

  const shift = (column: number, joint: number, by: Vector) => {
    for (let k = 0; k < 3; k++) jacobian[(joint * 3 + k) * WIDTH + column] += by[k];
  };
  const turn = (column: number, joint: number, axis: Vector, pivot: number) => {
    const [x, y, z] = [0, 1, 2].map((k) => poses[joint * POSE_STRIDE + k] - poses[pivot * POSE_STRIDE + k]);
    shift(column, joint, [axis[1] * z - axis[2] * y, axis[2] * x - axis[0] * z, axis[0] * y - axis[1] * x]);
  };
  const turnOf = (joint: number) => poses.subarray(joint * POSE_STRIDE + 3, joint * POSE_STRIDE + 7);

  for (let joint = WRIST; joint < JOINT_COUNT; joint++) {
    for (let k = 0; k < 3; k++) {
      shift(SHARED_SIZE + k, joint, axisOf(k));
      turn(SHARED_SIZE + 3 + k, joint, axisOf(k), WRIST);
    }
  }

  for (let finger = 0; finger < FINGERS.length; finger++) {
    const start = CHAIN_START[finger];
    const base = FINGER_BASE[finger];
    const shared = finger * SHARED_PER_FINGER;
    const dof = finger * DOFS_PER_FINGER;
    const own = SHARED_SIZE + 6 + dof;
    const chain = [start, start + 1, start + 2, start + 3];

    if (finger === 0) {
      for (let k = 0; k < 3; k++)
        for (const joint of chain) shift(shared + k, joint, rotate(wristTurn, axisOf(k)));
    } else {
      const rest = skeleton.restRotations.subarray(base * 4, base * 4 + 4);
      const arched = multiply(turnOf(base), conjugate(rest));
      for (let k = 0; k < 3; k++) {
        const still = rotate(wristTurn, axisOf(k));
        const carried = rotate(arched, axisOf(k));
        shift(shared + k, base, still);
        for (const joint of chain) {
          shift(shared + k, joint, [still[0] - carried[0], still[1] - carried[1], still[2] - carried[2]]);
          shift(shared + KNUCKLE + k, joint, carried);
        }
      }
      const arch = finger === 3 ? RING_ARCH : finger === 4 ? LITTLE_ARCH : -1;
      if (arch >= 0) {
        const axis = rotate(turnOf(base), [-1, 0, 0]);
        for (const joint of chain) turn(SHARED_SIZE + 6 + arch, joint, axis, base);
      }
    }

    // Back from the first bone's frame to the chain's: undo flexion, then abduction.
    const first = turnOf(start);
    const flexion = dofs[dof];
    const abduction = skeleton.abductionSign[finger] * dofs[dof + 1];
    const [s, c] = [Math.sin(flexion), Math.cos(flexion)];
    const sideways = rotate(first, [
      0,
      c * skeleton.abductionSign[finger],
      s * skeleton.abductionSign[finger],
    ]);
    const [sa, ca] = [Math.sin(abduction), Math.cos(abduction)];
    // Finger backs lean by a turn of minus the roll, the thumb's by plus its turn.
    const rollSense = finger === 0 ? 1 : -1;
    const lean = rotate(first, [-sa * rollSense, -ca * s * rollSense, ca * c * rollSense]);
    for (const joint of chain.slice(1)) {
      turn(own + 1, joint, sideways, start);
      turn(shared + ROLL, joint, lean, start);
    }
    const bend = rotate(first, [-1, 0, 0]);
    for (let i = 0; i < 3; i++) {
      const along = rotate(turnOf(start + i), [0, 0, -1]);
      for (const joint of chain.slice(i + 1)) {
        turn(own + (i === 0 ? 0 : i + 1), joint, bend, start + i);
        shift(shared + LENGTHS + i, joint, along);
      }
    }
  }
}

const AXES: readonly Vector[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const axisOf = (k: number): Vector => AXES[k];

function pointAt(values: Float64Array, at: number): PointM {
  return [values[at], values[at + 1], values[at + 2]];
}
