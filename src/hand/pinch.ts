import { atOnce, type Steps } from '../steps.js';
import { boneGap } from './bone-gap.js';
import { factorise, solveLower, solveUpper } from './cholesky.js';
import { type ClosingProfile, createClosingProfile, curlOf, setCurl } from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT, type DofArray } from './dofs.js';
import { createPoses, forwardKinematics, thumbKinematics } from './forward.js';
import { FINGERS, POSE_STRIDE } from './joints.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from './limits.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

/** A thumb that meets a finger. */
export interface PinchPose {
  /** All degrees of freedom, radians; fingers that take no part are open. */
  readonly dofs: DofArray;
  /** Curl of the pinching finger, and of the thumb by its summed flexion. */
  readonly fingerCurl: number;
  readonly thumbCurl: number;
  /** Skin to skin between the two tips, metres: about 0 where the thumb reaches. */
  readonly gapM: number;
  /** How much the pinch asks of the joints, without dimension; for comparing curls of one finger. */
  readonly effort: number;
}

const THUMB_TIP = 5;
const FIRST_THUMB_BONE = 2;
const UNKNOWNS = 4;

const degrees = (values: readonly number[]): Float64Array =>
  Float64Array.from(values, (value) => (value * Math.PI) / 180);
/** Where the thumb likes to be in a pinch, and how far from there it goes without effort. Common practice. */
const EASY = degrees([8, 42, 16, 12]);
const EASY_SPREAD = degrees([20, 25, 25, 30]);
/** What counts as exact: gap and overlap, metres, and joint range, radians. */
const GAP_SCALE_M = 0.0003;
const RANGE_SCALE_RAD = 0.004;
/** Radians by which a pad may face away from the other one before it counts as effort. */
const PAD_SCALE_RAD = 1.2;
const STEP_RAD = 1e-6;
/** No angle moves further at once. */
const MOST_STEP_RAD = 0.3;
/** Share of the cost that a step must take off, or it was the last one. */
const LEAST_GAIN = 1e-6;
const COARSE_GAIN = 1e-3;
/** Hundredths of curl between the first tries at the easiest pinch, and within which it is. */
const COARSE = 5;
const FROM = 20;
const TO = 75;

/** Finds pinches of one hand. */
export interface PinchSolver {
  /**
   * The pinch with a finger, index into FINGERS, at a curl of it.
   * @param start thumb angles to start from (radians, 4), for a neighbouring pose
   */
  at(finger: number, curl: number, start?: ArrayLike<number>): PinchPose;
  /** The pinch with a finger at the curl at which it is easiest; in steps, for it is many pinches. */
  easiest(finger: number): Steps<PinchPose>;
}

/**
 * The pose at which the thumb's tip and a finger's meet, skin on skin, with the thumb clear of the finger's other
 * bones and the pads facing each other as far as the joints allow. The finger closes along its profile and keeps to
 * its line, at the curl at which the pinch is easiest; thumb angles are found by damped least squares.
 * @param finger index into FINGERS, 1 (index) to 4 (little)
 * @throws RangeError for any other finger
 */
export function pinchPose(
  skeleton: Skeleton,
  finger: number,
  profile: ClosingProfile = createClosingProfile(),
): PinchPose {
  if (!(Number.isInteger(finger) && finger >= 1 && finger < FINGERS.length)) {
    throw new RangeError(`the thumb pinches with finger 1 (index) to 4 (little), got ${finger}`);
  }
  return atOnce(createPinchSolver(skeleton, profile).easiest(finger));
}

/** Many pinches of one hand: what they are worked out in is made once. */
export function createPinchSolver(skeleton: Skeleton, profile: ClosingProfile): PinchSolver {
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const residuals = new Float64Array(1 + 6 + 2 + 2 * UNKNOWNS);
  const shifted = new Float64Array(residuals.length);
  const jacobian = new Float64Array(residuals.length * UNKNOWNS);
  const normal = new Float64Array(UNKNOWNS * UNKNOWNS);
  const factor = new Float64Array(normal.length);
  const gradient = new Float64Array(UNKNOWNS);
  const step = new Float64Array(UNKNOWNS);
  const thumb = new Float64Array(UNKNOWNS);
  const tried = new Float64Array(UNKNOWNS);

  function evaluate(finger: number, angles: Float64Array, out: Float64Array): number {
    for (let i = 0; i < UNKNOWNS; i++) dofs[i] = angles[i];
    thumbKinematics(skeleton, dofs, poses);
    const start = CHAIN_START[finger];
    const tip = start + 3;
    let at = 0;
    out[at++] = tipGap(poses, tip) / GAP_SCALE_M;
    for (let bone = FIRST_THUMB_BONE; bone < FIRST_THUMB_BONE + 3; bone++) {
      for (let i = 0; i < 2; i++) out[at++] = Math.min(0, boneGap(poses, bone, start + i)) / GAP_SCALE_M;
    }
    out[at++] = padAngle(poses, THUMB_TIP, tip) / PAD_SCALE_RAD;
    out[at++] = padAngle(poses, tip, THUMB_TIP) / PAD_SCALE_RAD;
    for (let i = 0; i < UNKNOWNS; i++) {
      out[at++] = (angles[i] - EASY[i]) / EASY_SPREAD[i];
      out[at++] = Math.max(0, angles[i] - DOF_SENSED_MAX[i], DOF_SENSED_MIN[i] - angles[i]) / RANGE_SCALE_RAD;
    }
    let cost = 0;
    for (let i = 0; i < out.length; i++) cost += out[i] * out[i];
    return cost;
  }

  /** How the residuals change with the thumb's angles, and what follows for the step. */
  function linearise(finger: number): void {
    for (let j = 0; j < UNKNOWNS; j++) {
      const value = thumb[j];
      thumb[j] = value + STEP_RAD;
      evaluate(finger, thumb, shifted);
      thumb[j] = value;
      for (let i = 0; i < residuals.length; i++)
        jacobian[i * UNKNOWNS + j] = (shifted[i] - residuals[i]) / STEP_RAD;
    }
    normal.fill(0);
    gradient.fill(0);
    for (let i = 0; i < residuals.length; i++) {
      for (let j = 0; j < UNKNOWNS; j++) {
        gradient[j] -= jacobian[i * UNKNOWNS + j] * residuals[i];
        for (let k = 0; k <= j; k++)
          normal[j * UNKNOWNS + k] += jacobian[i * UNKNOWNS + j] * jacobian[i * UNKNOWNS + k];
      }
    }
  }

  /** Where the step with this damping leads, into `tried`; false if there is none. */
  function tryStep(damping: number): boolean {
    factor.set(normal);
    for (let j = 0; j < UNKNOWNS; j++) factor[j * UNKNOWNS + j] *= 1 + damping;
    if (!factorise(factor, UNKNOWNS)) return false;
    step.set(gradient);
    solveLower(factor, UNKNOWNS, step);
    solveUpper(factor, UNKNOWNS, step);
    for (let j = 0; j < UNKNOWNS; j++)
      tried[j] = thumb[j] + Math.min(Math.max(step[j], -MOST_STEP_RAD), MOST_STEP_RAD);
    return true;
  }

  function at(
    finger: number,
    curl: number,
    start: ArrayLike<number> = EASY,
    leastGain = LEAST_GAIN,
  ): PinchPose {
    for (let other = 0; other < FINGERS.length; other++) setCurl(profile, other, 0, dofs);
    setCurl(profile, finger, curl, dofs);
    coupleArch(dofs);
    forwardKinematics(skeleton, dofs, poses);
    for (let i = 0; i < UNKNOWNS; i++) thumb[i] = start[i];
    let cost = evaluate(finger, thumb, residuals);
    let damping = 1e-3;
    for (let iteration = 0; iteration < 40; iteration++) {
      linearise(finger);
      let gain = 0;
      for (let attempt = 0; attempt < 8 && gain === 0; attempt++) {
        const triedCost = tryStep(damping) ? evaluate(finger, tried, shifted) : Number.POSITIVE_INFINITY;
        if (triedCost < cost) {
          gain = cost - triedCost;
          thumb.set(tried);
          residuals.set(shifted);
          cost = triedCost;
          damping = Math.max(damping / 10, 1e-9);
        } else damping *= 10;
      }
      if (gain <= leastGain * cost) break;
    }
    for (let i = 0; i < UNKNOWNS; i++)
      dofs[i] = Math.min(Math.max(thumb[i], DOF_SENSED_MIN[i]), DOF_SENSED_MAX[i]);
    thumbKinematics(skeleton, dofs, poses);
    return {
      dofs: dofs.slice(),
      fingerCurl: curl,
      thumbCurl: curlOf(profile, 0, dofs),
      gapM: tipGap(poses, CHAIN_START[finger] + 3),
      effort: cost,
    };
  }

  /**
   * Effort falls to one least value and rises again: from `known` on, step by step, each from the last one's thumb, until
   * it has risen twice.
   * @param by hundredths of curl
   */
  function* downhill(
    finger: number,
    known: PinchPose,
    by: number,
    to: number,
    leastGain?: number,
  ): Steps<PinchPose> {
    let found = known;
    let last = known;
    let rises = 0;
    for (let hundredths = hundredthsOf(known) + by; rises < 2; hundredths += by) {
      if ((hundredths - to) * by > 0) break;
      yield;
      last = at(finger, hundredths / 100, last.dofs, leastGain);
      rises = last.effort < found.effort ? 0 : rises + 1;
      if (rises === 0) found = last;
    }
    return found;
  }

  function* easiest(finger: number): Steps<PinchPose> {
    const open = at(finger, FROM / 100, EASY, COARSE_GAIN);
    const about = yield* downhill(finger, open, COARSE, TO, COARSE_GAIN);
    yield;
    const middle = at(finger, about.fingerCurl, about.dofs);
    const more = yield* downhill(finger, middle, 1, hundredthsOf(about) + COARSE - 1);
    if (more !== middle) return more;
    return yield* downhill(finger, middle, -1, hundredthsOf(about) - COARSE + 1);
  }

  return { at, easiest };
}

const hundredthsOf = (pinch: PinchPose): number => Math.round(pinch.fingerCurl * 100);

function tipGap(poses: Float64Array, tip: number): number {
  const a = THUMB_TIP * POSE_STRIDE;
  const b = tip * POSE_STRIDE;
  const distance = Math.hypot(poses[a] - poses[b], poses[a + 1] - poses[b + 1], poses[a + 2] - poses[b + 2]);
  return distance - poses[a + 7] - poses[b + 7];
}

/** Between the direction in which a tip's pad faces (-Y) and the direction to the other tip, radians. */
function padAngle(poses: Float64Array, from: number, to: number): number {
  const a = from * POSE_STRIDE;
  const b = to * POSE_STRIDE;
  const x = poses[a + 3];
  const y = poses[a + 4];
  const z = poses[a + 5];
  const w = poses[a + 6];
  const dx = poses[b] - poses[a];
  const dy = poses[b + 1] - poses[a + 1];
  const dz = poses[b + 2] - poses[a + 2];
  const along = 2 * (x * y - z * w) * dx + (1 - 2 * (x * x + z * z)) * dy + 2 * (y * z + x * w) * dz;
  const cosine = -along / (Math.hypot(dx, dy, dz) || 1);
  return Math.acos(Math.min(Math.max(cosine, -0.9999), 0.9999));
}
