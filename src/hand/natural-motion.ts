import { atOnce, type Steps } from '../steps.js';
import { CLOSING_STEPS, type ClosingProfile, createClosingProfile } from './closing.js';
import { coupleArch, coupleArchWithRates } from './coupling.js';
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
const LITTLE = FINGERS.length - 1;

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

/** The thumb's part of naturalMotion: its four degrees of freedom, in place, never beyond ranges that they are within. */
export function guideThumb(tables: NaturalMotion, dofs: DofArray, curls: ArrayLike<number>): void {
  const { table, pinchCurls, profile } = tables;
  const thumbCurl = curls[0];
  let stop = FREE_STOP;
  // Share of the closing path, and the pinches by their shares, as layers from the little finger up make them.
  let path = 1;
  let flexion = 0;
  let abduction = 0;
  let mcp = 0;
  let ip = 0;
  for (let finger = LITTLE; finger > 0; finger--) {
    const curl = curls[finger];
    const scaled = curl <= 0 ? 0 : curl >= 1 ? STEPS : curl * STEPS;
    const row = scaled >= STEPS ? STEPS - 1 : scaled | 0;
    const share = scaled - row;
    const a = ((finger - 1) * ROWS + row) * COLUMNS;
    const b = a + COLUMNS;
    const here = table[a + STOP] + share * (table[b + STOP] - table[a + STOP]);
    if (here < stop) stop = here;
    const bar = table[a + BAR] + share * (table[b + BAR] - table[a + BAR]);
    if (bar <= 0) continue;
    const asked = table[a + PINCH] + share * (table[b + PINCH] - table[a + PINCH]);
    const pinch = asked <= 0 ? 0 : asked * meantPinch(thumbCurl - pinchCurls[finger - 1]);
    const behind = (1 - pinch) * (1 - bar);
    path = behind * path + (1 - pinch - behind);
    flexion *= behind;
    abduction *= behind;
    mcp *= behind;
    ip *= behind;
    if (pinch <= 0) continue;
    flexion += pinch * (table[a] + share * (table[b] - table[a]));
    abduction += pinch * (table[a + 1] + share * (table[b + 1] - table[a + 1]));
    mcp += pinch * (table[a + 2] + share * (table[b + 2] - table[a + 2]));
    ip += pinch * (table[a + 3] + share * (table[b + 3] - table[a + 3]));
  }
  if (stop < thumbCurl + STOP_SOFTNESS) stopThumb(profile.table, dofs, thumbCurl, stop);
  if (path === 1) return;
  dofs[0] = path * dofs[0] + flexion;
  dofs[1] = path * dofs[1] + abduction;
  dofs[2] = path * dofs[2] + mcp;
  dofs[3] = path * dofs[3] + ip;
}

/** Seconds between the two thumbs whose difference is its rate. */
const RATE_STEP_S = 1e-5;

/**
 * naturalMotion together with the rates of what it gives, for jointVelocities: both in place. Fingers' rates follow from
 * the slopes of what is done to their angles, the thumb's from its guidance a moment later.
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
  for (let i = 0; i < DOFS_PER_FINGER; i++) scratchDofs[i] = dofs[i] + RATE_STEP_S * dofRates[i];
  for (let i = 0; i < FINGERS.length; i++) scratchCurls[i] = curls[i] + RATE_STEP_S * curlRates[i];
  guideThumb(tables, dofs, curls);
  guideThumb(tables, scratchDofs, scratchCurls);
  for (let i = 0; i < DOFS_PER_FINGER; i++) dofRates[i] = (scratchDofs[i] - dofs[i]) / RATE_STEP_S;
  softenLimitsWithRates(dofs, dofRates);
  coupleArchWithRates(dofs, dofRates);
}

/**
 * Lets every joint give way softly at the end of its range, in place: inside it nothing changes, beyond it the
 * angle grows ever more slowly and stays within 5 degrees of the range.
 */
export function softenLimits(dofs: DofArray): void {
  // As variables of their own: read anew at every use, these were most of the time.
  const least = DOF_MIN;
  const most = DOF_MAX;
  for (let i = 0; i < DOF_COUNT; i++) {
    const angle = dofs[i];
    const high = most[i];
    const low = least[i];
    if (angle > high) dofs[i] = high + soft(angle - high);
    else if (angle < low) dofs[i] = low - soft(low - angle);
  }
}

const soft = (beyond: number): number => beyond / (1 + beyond / OVERSHOOT_RAD);

/** softenLimits together with the rates of what it gives. */
function softenLimitsWithRates(dofs: DofArray, dofRates: DofArray): void {
  const least = DOF_MIN;
  const most = DOF_MAX;
  for (let i = 0; i < DOF_COUNT; i++) {
    const angle = dofs[i];
    const high = most[i];
    const low = least[i];
    if (angle > high) {
      dofs[i] = high + soft(angle - high);
      dofRates[i] *= softSlope(angle - high);
    } else if (angle < low) {
      dofs[i] = low - soft(low - angle);
      dofRates[i] *= softSlope(low - angle);
    }
  }
}

/** Of `soft`. */
function softSlope(beyond: number): number {
  const share = 1 / (1 + beyond / OVERSHOOT_RAD);
  return share * share;
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
