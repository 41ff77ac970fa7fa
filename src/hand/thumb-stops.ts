import type { Steps } from '../steps.js';
import { boneGap } from './bone-gap.js';
import { type ClosingProfile, setCurl } from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT } from './dofs.js';
import { createPoses, forwardKinematics, thumbKinematics } from './forward.js';
import { POSE_STRIDE } from './joints.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

/** How far the thumb closes before a finger is in its way. */

/** Of a whole curl, thumb's and finger's alike. */
export const STOP_STEPS = 64;
/** Above 1: nothing stops the thumb. */
export const FREE_STOP = 1.5;
const STEPS = STOP_STEPS;
const ROWS = STEPS + 1;
const THUMB_BONES = [2, 3, 4] as const;
/** Overlap that flesh allows, metres. */
const FLESH_M = 0.002;
/**
 * Greatest change of the stop with the finger's curl, down before the finger is in the way and up again behind it:
 * as the thumb's tip goes some 0.1 m over its whole curl, none of them becomes a jump. Down comes on top of what the
 * finger asks of the thumb by itself, see thumb-guide.ts.
 */
const FALL_SLOPE = 0.4;
const RISE_SLOPE = 1.3;
/** More than sums of positions are off. */
const ROUNDING_M = 1e-9;

/** The thumb on its closing path, step by step. */
export interface ThumbPath {
  /** Puts the thumb's joints of a step into `poses`. */
  pose(step: number, poses: Float64Array): void;
  /** The first step beyond `step` until which some point of the thumb may have gone farther than `wayM`. */
  after(step: number, wayM: number): number;
}

export function createThumbPath(skeleton: Skeleton, profile: ClosingProfile): ThumbPath {
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses);
  const first = THUMB_BONES[0] * POSE_STRIDE;
  const length = (THUMB_BONES.length + 1) * POSE_STRIDE;
  const path = new Float64Array(ROWS * length);
  /** From the open thumb to each step, the sum of the steps before: no point of a bone goes farther than its ends. */
  const wayM = new Float64Array(ROWS);
  for (let step = 0; step < ROWS; step++) {
    setCurl(profile, 0, step / STEPS, dofs);
    thumbKinematics(skeleton, dofs, poses);
    path.set(poses.subarray(first, first + length), step * length);
    if (step === 0) continue;
    let farthest = 0;
    for (let at = step * length; at < (step + 1) * length; at += POSE_STRIDE) {
      const dx = path[at] - path[at - length];
      const dy = path[at + 1] - path[at - length + 1];
      const dz = path[at + 2] - path[at - length + 2];
      farthest = Math.max(farthest, Math.sqrt(dx * dx + dy * dy + dz * dz));
    }
    wayM[step] = wayM[step - 1] + farthest;
  }
  return {
    pose(step, into) {
      for (let i = 0; i < length; i++) into[first + i] = path[step * length + i];
    },
    after(step, way) {
      let next = step + 1;
      while (next < ROWS && wayM[next] - wayM[step] < way - ROUNDING_M) next++;
      return next;
    },
  };
}

/** How much thicker a bone is at one end than at the other, metres. */
function taper({ restPoses }: Skeleton, bone: number): number {
  const at = bone * POSE_STRIDE + 7;
  return Math.abs(restPoses[at + POSE_STRIDE] - restPoses[at]);
}

/**
 * The thumb's greatest curl before it meets a finger from its open side, for each step of the finger's curl; FREE_STOP
 * where the finger is not in its way. In steps, one for each.
 */
export function* stopSteps(
  skeleton: Skeleton,
  profile: ClosingProfile,
  thumbs: ThumbPath,
  finger: number,
): Steps<Float64Array> {
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const stops = new Float64Array(ROWS).fill(FREE_STOP);
  const start = CHAIN_START[finger];
  /** Skin to skin between thumb and finger, where they are nearest or overlap most. */
  const gapAt = (step: number): number => {
    thumbs.pose(step, poses);
    let least = Number.POSITIVE_INFINITY;
    for (const bone of THUMB_BONES) {
      for (let other = start; other < start + 3; other++) {
        least = Math.min(least, boneGap(poses, bone, other));
      }
    }
    return least;
  };
  // A gap is taken where the axes are nearest: that place may leap along a bone, and the radii there with it.
  const leapM =
    THUMB_BONES.reduce((most, bone) => Math.max(most, taper(skeleton, bone)), 0) +
    Math.max(taper(skeleton, start), taper(skeleton, start + 1), taper(skeleton, start + 2));
  for (let row = 0; row < ROWS; row++) {
    yield;
    setCurl(profile, finger, row / STEPS, dofs);
    coupleArch(dofs);
    forwardKinematics(skeleton, dofs, poses);
    for (let thumb = 0; thumb <= STEPS; ) {
      const gapM = gapAt(thumb);
      if (gapM < -FLESH_M) {
        stops[row] = Math.max(thumb - 1, 0) / STEPS;
        break;
      }
      // On to the next step at which they can have met.
      thumb = thumbs.after(thumb, gapM + FLESH_M - leapM);
    }
  }
  limitSlopes(stops);
  return stops;
}

/** The greatest function below `values` that falls and rises no faster than the slopes above, in place. */
function limitSlopes(values: Float64Array): void {
  for (let i = 1; i < values.length; i++) values[i] = Math.min(values[i], values[i - 1] + RISE_SLOPE / STEPS);
  for (let i = values.length - 2; i >= 0; i--)
    values[i] = Math.min(values[i], values[i + 1] + FALL_SLOPE / STEPS);
}
