import { atOnce, type Steps } from '../steps.js';
import { CLOSING_STEPS, type ClosingProfile, createClosingProfile } from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray } from './dofs.js';
import { FINGERS } from './joints.js';
import { DOF_MAX, DOF_MIN } from './limits.js';
import { createPinchSolver, type PinchPose, type PinchSolver } from './pinch.js';
import type { Skeleton } from './skeleton.js';
import { createThumbPath, FREE_STOP, STOP_STEPS, stopSteps } from './thumb-stops.js';

/**
 * What a hand does that its joints, taken one by one, do not know: the thumb meets the finger it pinches, stops
 * where a finger is in its way, the palm arches, and joints give way softly at the end of their range.
 *
 * Its place is between sensing and forward kinematics:
 *
 *   counts -> sensing -> curls, degrees of freedom -> naturalMotion -> forwardKinematics
 *
 * Made for one skeleton and closing profile, ahead of the frame loop, by createNaturalMotion.
 */
export interface NaturalMotion {
  readonly profile: ClosingProfile;
  /** Index to little x ROWS x COLUMNS, over the finger's curl: see the column constants. */
  readonly table: Float64Array;
  /** Room for the rates. */
  readonly scratchDofs: DofArray;
  readonly scratchCurls: Float64Array;
}

const STEPS = STOP_STEPS;
const ROWS = STEPS + 1;
/** Thumb angles of the pinch (4). */
const THUMB = 0;
/** 1 where thumb and finger can meet without effort, falling to 0 around. */
const REACH = 4;
/** The thumb's own curl in that pinch. */
const THUMB_CURL = 5;
/** The thumb's greatest curl before it meets the finger from its open side; above 1: the finger is not in its way. */
const STOP = 6;
const COLUMNS = 7;
const TABLE_FINGERS = FINGERS.length - 1;

/** A pinch whose tips stay this far apart, metres, is none: the thumb keeps the last one that met. */
const MEETS_M = 0.0005;
/** The thumb gets ready from this much curl before the easiest pinch on, and is there at this much. */
const APPROACH_CURL = 0.26;
const READY_CURL = 0.02;
/** Curl beyond the easiest pinch up to which the thumb follows, and from which the hand is closing to a fist. */
const FOLLOW_CURL = 0.12;
const FIST_CURL = 0.32;
const LET_GO_CURL = FIST_CURL - FOLLOW_CURL;
/**
 * Curl of a finger nearer to the thumb up to which the thumb passes before it, and from which on it bars the way: so
 * a fist that closes evenly is a pinch of the index finger alone.
 */
const OPEN_CURL = 0.27;
const BARRED_CURL = 0.45;
/** Difference between the thumb's curl and the pinch's within which it is a pinch, and from which it is none. */
const PINCH_CURL = 0.16;
const APART_CURL = 0.4;
/** Curl over which the thumb comes to rest at its stop. */
const STOP_SOFTNESS = 0.06;
/** A joint goes beyond its range by less than this, however far it is pushed: 5 degrees. */
const OVERSHOOT_RAD = (5 * Math.PI) / 180;

/**
 * Makes the tables: some 200 small solutions, a tenth of a second the first time.
 * @param profile the closing profile that sensing uses
 */
export const createNaturalMotion = (
  skeleton: Skeleton,
  profile: ClosingProfile = createClosingProfile(),
): NaturalMotion => atOnce(naturalMotionSteps(skeleton, profile));

/** createNaturalMotion in steps of a millisecond or so. */
export function* naturalMotionSteps(skeleton: Skeleton, profile: ClosingProfile): Steps<NaturalMotion> {
  const table = new Float64Array(TABLE_FINGERS * ROWS * COLUMNS);
  const pinches = createPinchSolver(skeleton, profile);
  const thumbs = createThumbPath(skeleton, profile);
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const rows = table.subarray((finger - 1) * ROWS * COLUMNS, finger * ROWS * COLUMNS);
    yield* fillPinches(pinches, finger, rows);
    const stops = yield* stopSteps(skeleton, profile, thumbs, finger);
    for (let row = 0; row < ROWS; row++) rows[row * COLUMNS + STOP] = stops[row];
  }
  return {
    profile,
    table,
    scratchDofs: new Float64Array(DOF_COUNT),
    scratchCurls: new Float64Array(FINGERS.length),
  };
}

/**
 * Makes the degrees of freedom natural, in place. Fingers keep the flexion that was measured; the thumb, of which a
 * curl says least, is guided. Continuous in curls and degrees of freedom.
 * @param dofs radians, as sensing leaves them
 * @param curls 0..1, thumb first
 */
export function naturalMotion(tables: NaturalMotion, dofs: DofArray, curls: ArrayLike<number>): void {
  const { table, profile } = tables;
  const thumbCurl = curls[0];
  let stop = FREE_STOP;
  let total = 0;
  let squares = 0;
  let toFlexion = 0;
  let toAbduction = 0;
  let toMcp = 0;
  let toIp = 0;
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const curl = curls[finger];
    const scaled = curl <= 0 ? 0 : curl >= 1 ? STEPS : curl * STEPS;
    const row = scaled >= STEPS ? STEPS - 1 : scaled | 0;
    const share = scaled - row;
    const a = ((finger - 1) * ROWS + row) * COLUMNS;
    const b = a + COLUMNS;
    const here = table[a + STOP] + share * (table[b + STOP] - table[a + STOP]);
    if (here < stop) stop = here;
    const reach = table[a + REACH] + share * (table[b + REACH] - table[a + REACH]);
    if (reach <= 0) continue;
    const at = table[a + THUMB_CURL] + share * (table[b + THUMB_CURL] - table[a + THUMB_CURL]);
    let weight = reach * (1 - ramp(Math.abs(thumbCurl - at), PINCH_CURL, APART_CURL));
    for (let near = 1; near < finger; near++) weight *= 1 - ramp(curls[near], OPEN_CURL, BARRED_CURL);
    if (weight <= 0) continue;
    total += weight;
    // Squared, so that the finger that is pinched counts for more than one that is merely near.
    weight *= weight;
    squares += weight;
    toFlexion += weight * (table[a] + share * (table[b] - table[a]));
    toAbduction += weight * (table[a + 1] + share * (table[b + 1] - table[a + 1]));
    toMcp += weight * (table[a + 2] + share * (table[b + 2] - table[a + 2]));
    toIp += weight * (table[a + 3] + share * (table[b + 3] - table[a + 3]));
  }

  if (stop < thumbCurl + STOP_SOFTNESS) stopThumb(profile.table, dofs, thumbCurl, stop);
  if (total > 0) {
    const guided = Math.min(total, 1);
    const scale = guided / squares;
    const keep = 1 - guided;
    dofs[0] = keep * dofs[0] + scale * toFlexion;
    dofs[1] = keep * dofs[1] + scale * toAbduction;
    dofs[2] = keep * dofs[2] + scale * toMcp;
    dofs[3] = keep * dofs[3] + scale * toIp;
  }
  softenLimits(dofs);
  coupleArch(dofs);
}

/** Seconds between the two poses whose difference is the rate. */
const RATE_STEP_S = 1e-5;

/**
 * naturalMotion together with the rates of what it gives, for jointVelocities: both in place.
 * @param dofRates rad/s, as sensing leaves them
 * @param curlRates 1/s
 */
export function naturalMotionWithRates(
  tables: NaturalMotion,
  dofs: DofArray,
  dofRates: DofArray,
  curls: ArrayLike<number>,
  curlRates: ArrayLike<number>,
): void {
  const { scratchDofs, scratchCurls } = tables;
  for (let i = 0; i < DOF_COUNT; i++) scratchDofs[i] = dofs[i] + RATE_STEP_S * dofRates[i];
  for (let i = 0; i < FINGERS.length; i++) scratchCurls[i] = curls[i] + RATE_STEP_S * curlRates[i];
  naturalMotion(tables, dofs, curls);
  naturalMotion(tables, scratchDofs, scratchCurls);
  for (let i = 0; i < DOF_COUNT; i++) dofRates[i] = (scratchDofs[i] - dofs[i]) / RATE_STEP_S;
}

/**
 * Lets every joint give way softly at the end of its range, in place: inside it nothing changes, beyond it the
 * angle grows ever more slowly and stays within 5 degrees of the range.
 */
export function softenLimits(dofs: DofArray): void {
  for (let i = 0; i < DOF_COUNT; i++) {
    const angle = dofs[i];
    if (angle > DOF_MAX[i]) {
      const over = angle - DOF_MAX[i];
      dofs[i] = DOF_MAX[i] + over / (1 + over / OVERSHOOT_RAD);
    } else if (angle < DOF_MIN[i]) {
      const under = DOF_MIN[i] - angle;
      dofs[i] = DOF_MIN[i] - under / (1 + under / OVERSHOOT_RAD);
    }
  }
}

/** Takes back what the thumb's closing path adds between where it may come and where it is. */
function stopThumb(closing: Float64Array, dofs: DofArray, curl: number, stop: number): void {
  const wanted = curl < 0 ? 0 : Math.min(curl, 1);
  // The smaller of two, rounded off where they are near (a parabola over the softness).
  const near = Math.max(STOP_SOFTNESS - Math.abs(wanted - stop), 0);
  const reached = Math.max(Math.min(wanted, stop) - (near * near) / (4 * STOP_SOFTNESS), 0);
  if (reached >= wanted) return;
  for (let i = 0; i < DOFS_PER_FINGER; i++)
    dofs[i] += onPath(closing, i, reached) - onPath(closing, i, wanted);
}

function onPath(closing: Float64Array, dof: number, curl: number): number {
  const scaled = curl * CLOSING_STEPS;
  const row = scaled >= CLOSING_STEPS ? CLOSING_STEPS - 1 : scaled | 0;
  const a = closing[row * DOFS_PER_FINGER + dof];
  return a + (scaled - row) * (closing[(row + 1) * DOFS_PER_FINGER + dof] - a);
}

/** 0 up to `from`, 1 beyond `to`, with a smooth step between. */
function ramp(value: number, from: number, to: number): number {
  if (value <= from) return 0;
  if (value >= to) return 1;
  const t = (value - from) / (to - from);
  return t * t * (3 - 2 * t);
}

function* fillPinches(pinches: PinchSolver, finger: number, rows: Float64Array): Steps<void> {
  const easiest = yield* pinches.easiest(finger);
  const poses: PinchPose[] = new Array(ROWS);
  const middle = Math.round(easiest.fingerCurl * STEPS);
  let lastMet = easiest.fingerCurl;
  // Outwards from the easiest one, each from its neighbour; where the tips no longer meet, the last one stays.
  for (const step of [-1, 1]) {
    let last = easiest;
    let meets = true;
    for (let row = middle; row >= 0 && row < ROWS; row += step) {
      if (meets) {
        const pose = pinches.at(finger, row / STEPS, last.dofs);
        meets = row === middle || Math.abs(pose.gapM) < MEETS_M;
        if (meets) last = pose;
        if (meets && step > 0) lastMet = pose.fingerCurl;
      }
      poses[row] = last;
      yield;
    }
  }
  // Beyond the last pinch that meets, the finger would close through the waiting thumb.
  const follow = Math.min(FOLLOW_CURL, lastMet - easiest.fingerCurl - LET_GO_CURL / 2);
  const fist = Math.min(FIST_CURL, follow + LET_GO_CURL);
  for (let row = 0; row < ROWS; row++) {
    const at = row * COLUMNS;
    rows.set(poses[row].dofs.subarray(0, DOFS_PER_FINGER), at + THUMB);
    const from = row / STEPS - easiest.fingerCurl;
    rows[at + REACH] = ramp(from, -APPROACH_CURL, -READY_CURL) * (1 - ramp(from, follow, fist));
    rows[at + THUMB_CURL] = poses[row].thumbCurl;
  }
}
