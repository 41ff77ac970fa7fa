import { CLOSING_STEPS, type ClosingProfile, curlOf } from '../hand/closing.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray } from '../hand/dofs.js';
import { FINGER_BASE, FINGERS, POSE_STRIDE, WRIST } from '../hand/joints.js';
import type { NaturalMotion } from '../hand/natural-motion.js';
import { CHAIN_START, type Skeleton } from '../hand/skeleton.js';
import { type LedThumb, leadThumb, setLedThumb, THUMB } from './led-thumb.js';
import { BONES, jointSpeed, ROWS, tabulateSpeeds } from './path-speeds.js';

/**
 * Where each finger would go if it closed: from open along the closing profile, with the palm's arch and the
 * finger's abduction as they are now.
 *
 * A finger whose joints are sensed one by one is seldom on the profile. Its path is bent so that it still runs
 * from open to closed but goes through the pose that the finger is in: flexion(curl) = profile(curl) + w(curl) ×
 * (flexion now - profile(curl now)), where w rises evenly from 0 at curl 0 to 1 at the curl now and falls to 0 at
 * curl 1. So the stop of a finger at the surface is at the surface that the wearer sees.
 *
 * A thumb that other fingers lead goes its own way (led-thumb.ts).
 */

const FINGER_COUNT = FINGERS.length;
/** Numbers per finger in `frames`: origin, x axis, y axis (dorsal), z axis (against the finger). */
export const FRAME_STRIDE = 12;
/** A finger nearly open or closed bends its path over this much curl at least. */
const LEAST_BEND = 0.05;
/** Radians below which a finger is on the profile. */
const ON_PROFILE = 1e-9;

export interface ClosingPath extends LedThumb {
  /** How other fingers lead the thumb; undefined: they do not. */
  readonly guide: NaturalMotion | undefined;
  /** 5 × FRAME_STRIDE: frame of each finger's chain before abduction, in the space of the poses. */
  readonly frames: Float64Array;
  /** 5 × DOFS_PER_FINGER, radians: now minus what the curl says. */
  readonly deviation: Float64Array;
  /** Curl of each finger now. */
  readonly curl: Float64Array;
  /** Curl at which each path goes through the present pose. */
  readonly bend: Float64Array;
  /** 5 × (BONES + 1): what the deviation adds to it. */
  readonly addedSpeed: Float64Array;
}

/** @param guide how the hand moves as a whole; left out: its thumb goes by its own curl alone */
export function createClosingPath(
  skeleton: Skeleton,
  profile: ClosingProfile,
  guide?: NaturalMotion,
): ClosingPath {
  const tableSpeed = new Float64Array(FINGER_COUNT * ROWS * (BONES + 1));
  const table = profile.table.slice();
  for (let finger = 0; finger < FINGER_COUNT; finger++) tabulateSpeeds(skeleton, table, finger, tableSpeed);
  return {
    skeleton,
    profile,
    guide,
    table,
    leading: new Float64Array(FINGER_COUNT).fill(Number.POSITIVE_INFINITY),
    turned: new Float64Array(DOFS_PER_FINGER),
    frames: new Float64Array(FINGER_COUNT * FRAME_STRIDE),
    deviation: new Float64Array(FINGER_COUNT * DOFS_PER_FINGER),
    curl: new Float64Array(FINGER_COUNT),
    bend: new Float64Array(FINGER_COUNT),
    tableSpeed,
    addedSpeed: new Float64Array(FINGER_COUNT * (BONES + 1)),
  };
}

/**
 * Takes over the present pose.
 * @param poses of all joints, in any space, as forwardKinematics made them of `dofs`
 * @param curls measured, thumb first: what stops are compared with. A thumb that is guided to a pinch has other joint
 *   angles than its curl says, so they cannot be taken from `dofs`; that is done when they are absent
 * @param foreseen curls as they will be when the thumb is stopped, which lead it; left out: as they are now
 */
export function followPose(
  path: ClosingPath,
  dofs: DofArray,
  poses: Float64Array,
  curls?: ArrayLike<number>,
  foreseen?: ArrayLike<number>,
): void {
  const { guide } = path;
  const leading = foreseen ?? curls;
  if (guide && leading) leadThumb(path, guide, leading, foreseen !== undefined);
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    placeFrame(path, finger, poses);
    const curl = curls ? curls[finger] : curlOf(path.profile, finger, dofs);
    // Sensors may say a little more than closed.
    const within = Math.min(Math.max(curl, 0), 1);
    if (finger === THUMB && guide && curls) setLedThumb(path.profile, guide, within, curls, said);
    else rowAt(path, finger, within);
    bendThroughPose(path, finger, dofs, within);
  }
}

function placeFrame({ skeleton, frames }: ClosingPath, finger: number, poses: Float64Array): void {
  const start = CHAIN_START[finger];
  const origin = start * POSE_STRIDE;
  // The joint that carries the chain: the wrist for the thumb, else the finger's metacarpal.
  const carrier = (finger === 0 ? WRIST : FINGER_BASE[finger]) * POSE_STRIDE;
  const ax = poses[carrier + 3];
  const ay = poses[carrier + 4];
  const az = poses[carrier + 5];
  const aw = poses[carrier + 6];
  const { restRotations } = skeleton;
  const bx = restRotations[start * 4];
  const by = restRotations[start * 4 + 1];
  const bz = restRotations[start * 4 + 2];
  const bw = restRotations[start * 4 + 3];
  const x = aw * bx + ax * bw + ay * bz - az * by;
  const y = aw * by + ay * bw + az * bx - ax * bz;
  const z = aw * bz + az * bw + ax * by - ay * bx;
  const w = aw * bw - ax * bx - ay * by - az * bz;
  const to = finger * FRAME_STRIDE;
  frames[to] = poses[origin];
  frames[to + 1] = poses[origin + 1];
  frames[to + 2] = poses[origin + 2];
  frames[to + 3] = 1 - 2 * (y * y + z * z);
  frames[to + 4] = 2 * (x * y + z * w);
  frames[to + 5] = 2 * (x * z - y * w);
  frames[to + 6] = 2 * (x * y - z * w);
  frames[to + 7] = 1 - 2 * (x * x + z * z);
  frames[to + 8] = 2 * (y * z + x * w);
  frames[to + 9] = 2 * (x * z + y * w);
  frames[to + 10] = 2 * (y * z - x * w);
  frames[to + 11] = 1 - 2 * (x * x + y * y);
}

/** Angles of the finger that is looked at, radians: what its curl alone says. */
const said = new Float64Array(DOF_COUNT);

function rowAt({ table }: ClosingPath, finger: number, curl: number): void {
  const scaled = curl * CLOSING_STEPS;
  const row = Math.min(Math.floor(scaled), CLOSING_STEPS - 1);
  const from = (finger * ROWS + row) * DOFS_PER_FINGER;
  for (let dof = 0; dof < DOFS_PER_FINGER; dof++) {
    said[dof] =
      table[from + dof] + (scaled - row) * (table[from + DOFS_PER_FINGER + dof] - table[from + dof]);
  }
}

const magnitude = new Float64Array(DOFS_PER_FINGER);

/** The path goes through the pose of `dofs` at that curl, of which the profile says `said`. */
function bendThroughPose(path: ClosingPath, finger: number, dofs: DofArray, curl: number): void {
  const { skeleton, deviation, bend, addedSpeed } = path;
  const first = finger * DOFS_PER_FINGER;
  path.curl[finger] = curl;
  bend[finger] = Math.min(Math.max(curl, LEAST_BEND), 1 - LEAST_BEND);
  let off = false;
  for (let dof = 0; dof < DOFS_PER_FINGER; dof++) {
    let value = dofs[first + dof] - said[dof];
    if (Math.abs(value) < ON_PROFILE) value = 0;
    deviation[first + dof] = value;
    // Abduction keeps its deviation all along and so adds no speed.
    magnitude[dof] = dof === 1 ? 0 : Math.abs(value);
    off ||= magnitude[dof] > 0;
  }
  const to = finger * (BONES + 1);
  const steepness = 1 / Math.min(bend[finger], 1 - bend[finger]);
  for (let joint = 1; joint <= BONES; joint++) {
    addedSpeed[to + joint] = off
      ? steepness * jointSpeed(skeleton.chainLengths, finger, joint, magnitude)
      : 0;
  }
}

/** Bound of a joint's speed from `curl` on to 1, metres per unit of curl. `joint` counts 0..BONES in the chain. */
export function speedFrom(path: ClosingPath, finger: number, curl: number, joint: number): number {
  const row = Math.min(Math.max(Math.floor(curl * CLOSING_STEPS), 0), CLOSING_STEPS - 1);
  return (
    path.tableSpeed[(finger * ROWS + row) * (BONES + 1) + joint] +
    path.addedSpeed[finger * (BONES + 1) + joint]
  );
}

/**
 * Positions of a finger's chain joints at a curl of its path.
 * @param frame FRAME_STRIDE numbers: the chain's frame in the space wanted
 * @param points gets (bones + 1) × (x, y, z)
 * @param bones how many of the finger's bones are wanted, from the first on
 */
export function jointsAt(
  path: ClosingPath,
  finger: number,
  curl: number,
  frame: Float64Array,
  points: Float64Array,
  bones: number = BONES,
): void {
  const { deviation, table } = path;
  const { chainLengths } = path.skeleton;
  const scaled = Math.min(Math.max(curl, 0), 1) * CLOSING_STEPS;
  const row = Math.min(Math.floor(scaled), CLOSING_STEPS - 1);
  const t = scaled - row;
  const a = (finger * ROWS + row) * DOFS_PER_FINGER;
  const b = a + DOFS_PER_FINGER;
  const d = finger * DOFS_PER_FINGER;
  const bend = path.bend[finger];
  const w = curl <= bend ? curl / bend : (1 - curl) / (1 - bend);

  const abduction =
    path.skeleton.abductionSign[finger] *
    (table[a + 1] + t * (table[b + 1] - table[a + 1]) + deviation[d + 1]);
  const sa = Math.sin(abduction);
  const ca = Math.cos(abduction);
  const upX = frame[6];
  const upY = frame[7];
  const upZ = frame[8];
  const backX = frame[9] * ca + frame[3] * sa;
  const backY = frame[10] * ca + frame[4] * sa;
  const backZ = frame[11] * ca + frame[5] * sa;

  let x = frame[0];
  let y = frame[1];
  let z = frame[2];
  points[0] = x;
  points[1] = y;
  points[2] = z;
  let flexion = 0;
  for (let bone = 0; bone < bones; bone++) {
    const dof = bone === 0 ? 0 : bone + 1;
    flexion += table[a + dof] + t * (table[b + dof] - table[a + dof]) + w * deviation[d + dof];
    const length = chainLengths[finger * BONES + bone];
    const along = length * Math.cos(flexion);
    const down = length * Math.sin(flexion);
    x -= along * backX + down * upX;
    y -= along * backY + down * upY;
    z -= along * backZ + down * upZ;
    points[bone * 3 + 3] = x;
    points[bone * 3 + 4] = y;
    points[bone * 3 + 5] = z;
  }
}
