import { atOnce, type Steps } from '../steps.js';
import { CLOSING_STEPS, type ClosingProfile, createClosingProfile } from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray } from './dofs.js';
import { FINGERS } from './joints.js';
import { DOF_MAX, DOF_MIN } from './limits.js';
import type { Skeleton } from './skeleton.js';
import {
  GUIDE_BAR,
  GUIDE_COLUMNS,
  GUIDE_PINCH,
  GUIDE_ROWS,
  GUIDE_STOP,
  meantPinch,
  thumbGuideSteps,
} from './thumb-guide.js';
import { FREE_STOP } from './thumb-stops.js';

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
  /** Index to little x GUIDE_ROWS x GUIDE_COLUMNS, over the finger's curl: see thumb-guide.ts. */
  readonly table: Float64Array;
  /** Per finger, index to little: the thumb's curl in its easiest pinch. */
  readonly pinchCurls: Float64Array;
  /** Room for the rates. */
  readonly scratchDofs: DofArray;
  readonly scratchCurls: Float64Array;
}

// As in forward.ts: the engine knows constants of this module.
const STEPS = GUIDE_ROWS - 1;
const ROWS = GUIDE_ROWS;
const COLUMNS = GUIDE_COLUMNS;
const BAR = GUIDE_BAR;
const PINCH = GUIDE_PINCH;
const STOP = GUIDE_STOP;

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
  return {
    profile,
    ...(yield* thumbGuideSteps(skeleton, profile)),
    scratchDofs: new Float64Array(DOF_COUNT),
    scratchCurls: new Float64Array(FINGERS.length),
  };
}

/**
 * Makes the degrees of freedom natural, in place. Fingers keep the flexion that was measured; the thumb, of which a
 * curl says least, is guided: no hundredth of another finger's curl moves its tip by 2 mm.
 *
 * From little to index each finger lays what it asks of the thumb over what the fingers behind it ask, the more
 * the more it is closed: the pinch with it, or, where the thumb's own curl says otherwise or the finger closes on,
 * the closing path. So a fist that closes evenly is a pinch of the index finger alone, and a closed index finger
 * bars the way to the others. All are means, with weights that rise no faster than the way between allows.
 * @param dofs radians, as sensing leaves them
 * @param curls 0..1, thumb first
 */
export function naturalMotion(tables: NaturalMotion, dofs: DofArray, curls: ArrayLike<number>): void {
  guideThumb(tables, dofs, curls);
  softenLimits(dofs);
  coupleArch(dofs);
}

/** naturalMotion for the thumb alone, its joints as they are asked for. */
export function guideThumb(tables: NaturalMotion, dofs: DofArray, curls: ArrayLike<number>): void {
  const { table, pinchCurls, profile } = tables;
  const thumbCurl = curls[0];
  let stop = FREE_STOP;
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const here = lookUp(table, finger, curls[finger], STOP);
    if (here < stop) stop = here;
  }
  if (stop < thumbCurl + STOP_SOFTNESS) stopThumb(profile.table, dofs, thumbCurl, stop);
  const flexion = dofs[0];
  const abduction = dofs[1];
  const mcp = dofs[2];
  const ip = dofs[3];
  for (let finger = FINGERS.length - 1; finger > 0; finger--) {
    const curl = curls[finger];
    const scaled = curl <= 0 ? 0 : curl >= 1 ? STEPS : curl * STEPS;
    const row = scaled >= STEPS ? STEPS - 1 : scaled | 0;
    const share = scaled - row;
    const a = ((finger - 1) * ROWS + row) * COLUMNS;
    const b = a + COLUMNS;
    const bar = table[a + BAR] + share * (table[b + BAR] - table[a + BAR]);
    if (bar <= 0) continue;
    const asked = table[a + PINCH] + share * (table[b + PINCH] - table[a + PINCH]);
    const pinch = asked * meantPinch(thumbCurl - pinchCurls[finger - 1]);
    const path = (1 - pinch) * bar;
    const behind = 1 - pinch - path;
    dofs[0] = behind * dofs[0] + path * flexion + pinch * (table[a] + share * (table[b] - table[a]));
    dofs[1] =
      behind * dofs[1] + path * abduction + pinch * (table[a + 1] + share * (table[b + 1] - table[a + 1]));
    dofs[2] = behind * dofs[2] + path * mcp + pinch * (table[a + 2] + share * (table[b + 2] - table[a + 2]));
    dofs[3] = behind * dofs[3] + path * ip + pinch * (table[a + 3] + share * (table[b + 3] - table[a + 3]));
  }
}

function lookUp(table: Float64Array, finger: number, curl: number, column: number): number {
  const scaled = curl <= 0 ? 0 : curl >= 1 ? STEPS : curl * STEPS;
  const row = scaled >= STEPS ? STEPS - 1 : scaled | 0;
  const at = ((finger - 1) * ROWS + row) * COLUMNS + column;
  return table[at] + (scaled - row) * (table[at + COLUMNS] - table[at]);
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
