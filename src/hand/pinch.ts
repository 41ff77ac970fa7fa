import { boneGap } from './bone-gap.js';
import { factorise, solveLower, solveUpper } from './cholesky.js';
import { type ClosingProfile, createClosingProfile, curlOf, setCurl } from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT, type DofArray } from './dofs.js';
import { createPoses, forwardKinematics } from './forward.js';
import { FINGERS, POSE_STRIDE } from './joints.js';
import { DOF_MAX, DOF_MIN } from './limits.js';
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

export interface PinchOptions {
  readonly profile?: ClosingProfile;
  /** Curl of the finger. Left out: the one at which the pinch is easiest. */
  readonly curl?: number;
  /** Thumb angles to start from (radians, 4), for a neighbouring pose. */
  readonly start?: ArrayLike<number>;
}

const THUMB_TIP = 5;
const THUMB_BONES = [2, 3, 4] as const;
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

/**
 * The pose at which the thumb's tip and a finger's meet, skin on skin, with the thumb clear of the finger's other
 * bones and the pads facing each other as far as the joints allow. The finger closes along its profile and keeps to
 * its line; thumb angles are found by damped least squares.
 * @param finger index into FINGERS, 1 (index) to 4 (little)
 * @throws RangeError for any other finger
 */
export function pinchPose(skeleton: Skeleton, finger: number, options: PinchOptions = {}): PinchPose {
  if (!(Number.isInteger(finger) && finger >= 1 && finger < FINGERS.length)) {
    throw new RangeError(`the thumb pinches with finger 1 (index) to 4 (little), got ${finger}`);
  }
  const profile = options.profile ?? createClosingProfile();
  if (options.curl !== undefined) return pinchAt(skeleton, finger, profile, options.curl, options.start);
  let best: PinchPose | undefined;
  let start = options.start;
  for (let step = 20; step <= 75; step += 1) {
    const pose = pinchAt(skeleton, finger, profile, step / 100, start);
    start = pose.dofs;
    if (!best || pose.effort < best.effort) best = pose;
  }
  return best!;
}

function pinchAt(
  skeleton: Skeleton,
  finger: number,
  profile: ClosingProfile,
  curl: number,
  start: ArrayLike<number> = EASY,
): PinchPose {
  const dofs = new Float64Array(DOF_COUNT);
  for (let other = 0; other < FINGERS.length; other++) setCurl(profile, other, 0, dofs);
  setCurl(profile, finger, curl, dofs);
  coupleArch(dofs);
  const poses = createPoses();
  const tip = CHAIN_START[finger] + 3;
  const residuals = new Float64Array(1 + 6 + 2 + 2 * UNKNOWNS);
  const shifted = new Float64Array(residuals.length);
  const jacobian = new Float64Array(residuals.length * UNKNOWNS);
  const thumb = Float64Array.from({ length: UNKNOWNS }, (_, i) => start[i]);

  const evaluate = (angles: Float64Array, out: Float64Array): number => {
    dofs.set(angles, 0);
    forwardKinematics(skeleton, dofs, poses);
    let at = 0;
    out[at++] = tipGap(poses, tip) / GAP_SCALE_M;
    for (const bone of THUMB_BONES) {
      for (let i = 0; i < 2; i++)
        out[at++] = Math.min(0, boneGap(poses, bone, CHAIN_START[finger] + i)) / GAP_SCALE_M;
    }
    out[at++] = padAngle(poses, THUMB_TIP, tip) / PAD_SCALE_RAD;
    out[at++] = padAngle(poses, tip, THUMB_TIP) / PAD_SCALE_RAD;
    for (let i = 0; i < UNKNOWNS; i++) {
      out[at++] = (angles[i] - EASY[i]) / EASY_SPREAD[i];
      out[at++] = Math.max(0, angles[i] - DOF_MAX[i], DOF_MIN[i] - angles[i]) / RANGE_SCALE_RAD;
    }
    let cost = 0;
    for (let i = 0; i < out.length; i++) cost += out[i] ** 2;
    return cost;
  };

  let cost = evaluate(thumb, residuals);
  let damping = 1e-3;
  const normal = new Float64Array(UNKNOWNS * UNKNOWNS);
  const factor = new Float64Array(normal.length);
  const gradient = new Float64Array(UNKNOWNS);
  for (let iteration = 0; iteration < 40; iteration++) {
    for (let j = 0; j < UNKNOWNS; j++) {
      const value = thumb[j];
      thumb[j] = value + STEP_RAD;
      evaluate(thumb, shifted);
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
    let gain = 0;
    for (let attempt = 0; attempt < 8 && gain === 0; attempt++) {
      factor.set(normal);
      for (let j = 0; j < UNKNOWNS; j++) factor[j * UNKNOWNS + j] *= 1 + damping;
      const step = Float64Array.from(gradient);
      if (factorise(factor, UNKNOWNS)) {
        solveLower(factor, UNKNOWNS, step);
        solveUpper(factor, UNKNOWNS, step);
        const tried = thumb.map((angle, j) => angle + Math.min(Math.max(step[j], -0.3), 0.3));
        const triedCost = evaluate(tried, shifted);
        if (triedCost < cost) {
          gain = cost - triedCost;
          thumb.set(tried);
          residuals.set(shifted);
          cost = triedCost;
          damping = Math.max(damping / 10, 1e-9);
          break;
        }
      }
      damping *= 10;
    }
    if (gain <= 1e-7 * cost) break;
  }

  for (let i = 0; i < UNKNOWNS; i++) dofs[i] = Math.min(Math.max(thumb[i], DOF_MIN[i]), DOF_MAX[i]);
  forwardKinematics(skeleton, dofs, poses);
  return {
    dofs,
    fingerCurl: curl,
    thumbCurl: curlOf(profile, 0, dofs),
    gapM: tipGap(poses, tip),
    effort: cost,
  };
}

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
