import {
  FINGER_BASE,
  FINGERS,
  type Finger,
  type HandSide,
  JOINT_COUNT,
  JOINT_PARENT,
  PALM,
  POSE_STRIDE,
  WRIST,
} from './joints.js';
import { defaultPlacement, type FingerPlacement, type HandPlacement } from './placement.js';
import {
  BREADTH_PER_LENGTH,
  BUCHHOLZ_FRACTIONS,
  DEFAULT_HAND_LENGTH_M,
  RADIUS_PER_BREADTH,
} from './proportions.js';
import { conjugate, fromYawPitchRoll, multiply, type Quaternion, rotate } from './rotation.js';

/**
 * Bone lengths in metres, joint centre to joint centre, except the distal phalanx, which runs to the end of the
 * finger (skin). Thumb: metacarpal, proximal, distal. Other fingers: metacarpal (from its CMC joint, not from
 * the wrist), proximal, middle, distal.
 */
export type BoneLengths = Readonly<Record<Finger, readonly number[]>>;

/** The unmoving part of a hand: all that forward kinematics needs beside the degrees of freedom. */
export interface Skeleton {
  readonly side: HandSide;
  readonly lengthM: number;
  readonly breadthM: number;
  readonly boneLengthsM: BoneLengths;
  readonly placement: HandPlacement;
  /** JOINT_COUNT x (x, y, z), metres, in the parent joint's frame (see JOINT_PARENT). */
  readonly restOffsets: Float64Array;
  /** JOINT_COUNT x (x, y, z, w): orientation in the parent joint's frame with all degrees of freedom at zero. */
  readonly restRotations: Float64Array;
  /** JOINT_COUNT radii, joint centre to skin, metres. */
  readonly radii: Float64Array;
  /** JOINT_COUNT x POSE_STRIDE: the pose with all degrees of freedom at zero, wrist at the origin. */
  readonly restPoses: Float64Array;
  /** Lengths between the four joints of each finger's moving chain (the last one to the tip joint), 5 x 3. */
  readonly chainLengths: Float64Array;
  /** +1 or -1 per finger: the sense of positive abduction about the chain's local +Y. */
  readonly abductionSign: Float64Array;
}

export interface SkeletonOptions {
  readonly side: HandSide;
  /** Crease of the wrist to the end of the middle finger. Default: between the survey's men and women. */
  readonly lengthM?: number;
  /** Across the knuckles without the thumb. Default: in proportion to the length. */
  readonly breadthM?: number;
  /** Measured lengths, for any finger; the others follow from the hand length. */
  readonly boneLengthsM?: Partial<BoneLengths>;
  /** Where the fingers sit, for any finger (see fitHand); the others follow from length and breadth. */
  readonly placement?: Partial<HandPlacement>;
}

/**
 * The joint at which a finger's moving chain starts: the thumb's CMC, the other fingers' MCP. From there on a
 * finger is a planar chain of three bones, whatever the finger.
 */
export const CHAIN_START = [2, 7, 12, 17, 22] as const;

const radians = (degrees: number): number => (degrees * Math.PI) / 180;

/**
 * The plain data a skeleton is built from: createSkeleton gives the same skeleton again, bit by bit, also after
 * a way through JSON.
 */
export function skeletonOptions(skeleton: Skeleton): Required<SkeletonOptions> {
  const { side, lengthM, breadthM, boneLengthsM, placement } = skeleton;
  return { side, lengthM, breadthM, boneLengthsM, placement };
}

/**
 * Builds a skeleton from hand length and breadth, or from measured bones and where they sit.
 * @throws RangeError if a length is not a plausible size of a hand.
 */
export function createSkeleton(options: SkeletonOptions): Skeleton {
  const { side } = options;
  const lengthM = options.lengthM ?? DEFAULT_HAND_LENGTH_M;
  const breadthM = options.breadthM ?? lengthM * BREADTH_PER_LENGTH;
  requireWithin('hand length', lengthM, 0.08, 0.3);
  requireWithin('hand breadth', breadthM, 0.03, 0.16);

  const radii = placeRadii(breadthM);
  const restOffsets = new Float64Array(JOINT_COUNT * 3);
  const restRotations = new Float64Array(JOINT_COUNT * 4);
  for (let joint = 0; joint < JOINT_COUNT; joint++) restRotations[joint * 4 + 3] = 1;
  const chainLengths = new Float64Array(FINGERS.length * 3);
  const boneLengthsM: Record<Finger, readonly number[]> = { ...BUCHHOLZ_FRACTIONS };
  const placement = { ...defaultPlacement(lengthM, breadthM), ...options.placement };

  for (const [finger, name] of FINGERS.entries()) {
    const fractions = BUCHHOLZ_FRACTIONS[name];
    const measured = options.boneLengthsM?.[name];
    const lengths = measured ? [...measured] : fractions.map((fraction) => fraction * lengthM);
    if (lengths.length !== fractions.length) {
      throw new RangeError(`${name} needs ${fractions.length} bone lengths, got ${lengths.length}`);
    }
    const base = FINGER_BASE[finger];
    if (name === 'thumb') {
      const { baseM, fanDeg, turnDeg } = placement.thumb;
      requirePoint('thumb base', baseM);
      restOffsets.set(baseM, base * 3);
      restRotations.set(direction(radians(fanDeg), 0, radians(-turnDeg)), base * 4);
    } else {
      if (Number.isNaN(placement[name].knuckleM[2])) {
        throw new RangeError(`hand breadth ${breadthM} m does not go with hand length ${lengthM} m`);
      }
      const placed = placeMetacarpal(name, placement[name], measured?.[0]);
      lengths[0] = placed.boneLengthM;
      restOffsets.set(placement[name].baseM, base * 3);
      restRotations.set(placed.rotation, base * 4);
      restOffsets[(base + 1) * 3 + 2] = -lengths[0];
      restRotations.set(placed.knuckleRotation, (base + 1) * 4);
    }
    for (const [bone, length] of lengths.entries()) {
      requireWithin(`${name} bone ${bone + 1} of ${lengths.length}`, length, 0.005, 0.15);
    }
    const phalanges = name === 'thumb' ? lengths : lengths.slice(1);
    const start = CHAIN_START[finger];
    const tipRadius = radii[start + 3];
    for (let i = 0; i < 3; i++) {
      // The tip joint is inside the finger: its sphere touches the end of the finger.
      const length = i === 2 ? phalanges[i] - tipRadius : phalanges[i];
      if (!(length > 0)) {
        throw new RangeError(
          `${name} distal bone is ${phalanges[i]} m; it must be longer than the tip's radius, ${tipRadius.toFixed(4)} m`,
        );
      }
      chainLengths[finger * 3 + i] = length;
      restOffsets[(start + 1 + i) * 3 + 2] = -length;
    }
    boneLengthsM[name] = lengths;
  }

  // The palm is the middle of the middle metacarpal and turned as it is.
  const middle = FINGER_BASE[2];
  const middleRotation = restRotations.slice(middle * 4, middle * 4 + 4);
  const alongBone = rotate(middleRotation, [0, 0, -boneLengthsM.middle[0] / 2]);
  for (let i = 0; i < 3; i++) restOffsets[PALM * 3 + i] = restOffsets[middle * 3 + i] + alongBone[i];
  restRotations.set(middleRotation, PALM * 4);

  const abductionSign = Float64Array.from([1, 1, 1, -1, -1]);
  if (side === 'left') {
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      restOffsets[joint * 3] *= -1;
      restRotations[joint * 4 + 1] *= -1;
      restRotations[joint * 4 + 2] *= -1;
    }
    for (let finger = 0; finger < FINGERS.length; finger++) abductionSign[finger] *= -1;
  }

  return {
    side,
    lengthM,
    breadthM,
    boneLengthsM,
    placement,
    restOffsets,
    restRotations,
    radii,
    restPoses: composeRest(restOffsets, restRotations, radii),
    chainLengths,
    abductionSign,
  };
}

function placeRadii(breadthM: number): Float64Array {
  const radii = new Float64Array(JOINT_COUNT);
  radii[PALM] = RADIUS_PER_BREADTH.palm * breadthM;
  radii[WRIST] = RADIUS_PER_BREADTH.wrist * breadthM;
  for (const [finger, name] of FINGERS.entries()) {
    for (const [i, radius] of RADIUS_PER_BREADTH[name].entries()) {
      radii[FINGER_BASE[finger] + i] = radius * breadthM;
    }
  }
  return radii;
}

function placeMetacarpal(name: Finger, placement: FingerPlacement, measuredM: number | undefined) {
  const { baseM, knuckleM, fanDeg, rollDeg } = placement;
  requirePoint(`${name} base`, baseM);
  requirePoint(`${name} knuckle`, knuckleM);
  const [dx, dy, dz] = [0, 1, 2].map((k) => knuckleM[k] - baseM[k]);
  const distance = Math.hypot(dx, dy, dz);
  if (!(distance > 0)) throw new RangeError(`${name} base and knuckle are at the same place`);
  const rotation = direction(Math.atan2(-dx, -dz), Math.asin(dy / distance), radians(rollDeg));
  const knuckleRotation = multiply(conjugate(rotation), direction(radians(fanDeg), 0, radians(rollDeg)));
  return { rotation, knuckleRotation, boneLengthM: measuredM ?? distance };
}

/** Orientation whose -Z points `yaw` to the thumb side of a right hand and `pitch` up, its +Y leaning by `roll`. */
function direction(yaw: number, pitch: number, roll: number): Quaternion {
  return fromYawPitchRoll(yaw, pitch, -roll);
}

function composeRest(offsets: Float64Array, rotations: Float64Array, radii: Float64Array): Float64Array {
  const poses = new Float64Array(JOINT_COUNT * POSE_STRIDE);
  // The palm comes before its parent in the table, so the wrist goes first.
  const order = [WRIST, ...JOINT_PARENT.keys()].filter((joint, i) => i === 0 || joint !== WRIST);
  for (const joint of order) {
    let position: ArrayLike<number> = offsets.subarray(joint * 3, joint * 3 + 3);
    let rotation: ArrayLike<number> = rotations.subarray(joint * 4, joint * 4 + 4);
    const parent = JOINT_PARENT[joint];
    if (parent >= 0) {
      const at = parent * POSE_STRIDE;
      const parentRotation = poses.subarray(at + 3, at + 7);
      const [x, y, z] = rotate(parentRotation, position);
      position = [x + poses[at], y + poses[at + 1], z + poses[at + 2]];
      rotation = multiply(parentRotation, rotation);
    }
    poses.set(position, joint * POSE_STRIDE);
    poses.set(rotation, joint * POSE_STRIDE + 3);
    poses[joint * POSE_STRIDE + 7] = radii[joint];
  }
  return poses;
}

function requireWithin(what: string, value: number, min: number, max: number): void {
  if (!(value >= min && value <= max)) {
    throw new RangeError(`${what} is ${value} m; expected ${min} to ${max} m`);
  }
}

function requirePoint(what: string, point: readonly number[]): void {
  for (let k = 0; k < 3; k++) {
    if (!(Math.abs(point[k]) <= 0.25)) {
      throw new RangeError(`${what} is at [${point.join(', ')}] m; expected within 0.25 m of the wrist`);
    }
  }
}
