import { boneGap } from '../../src/hand/bone-gap.js';
import {
  CHAIN_START,
  type ClosingProfile,
  createPoses,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  type NaturalMotion,
  naturalMotion,
  POSE_STRIDE,
  type Skeleton,
  setCurl,
} from '../../src/hand/index.js';

/** How far the thumb's tip goes for a small change of one curl, how near the tips come, how deep bones overlap. */

const THUMB_TIP = 5 * POSE_STRIDE;
const THUMB_BONES = [2, 3, 4];

/** Poses of a hand by curls alone, as sensing gives them. */
export function createPosing(skeleton: Skeleton, closing: ClosingProfile, natural: NaturalMotion) {
  const poses = createPoses();
  const dofs = new Float64Array(DOF_COUNT);
  const tip = new Float64Array(3);
  function pose(curls: ArrayLike<number>): Float64Array {
    dofs.fill(0);
    for (let finger = 0; finger < FINGERS.length; finger++) setCurl(closing, finger, curls[finger], dofs);
    naturalMotion(natural, dofs, curls);
    forwardKinematics(skeleton, dofs, poses);
    return poses;
  }
  /** Metres that the tip goes when one curl changes by `by`. */
  function leap(curls: readonly number[], finger: number, by = 0.01): number {
    pose(curls);
    tip.set(poses.subarray(THUMB_TIP, THUMB_TIP + 3));
    pose(curls.map((curl, f) => (f === finger ? curl + by : curl)));
    return Math.hypot(
      poses[THUMB_TIP] - tip[0],
      poses[THUMB_TIP + 1] - tip[1],
      poses[THUMB_TIP + 2] - tip[2],
    );
  }
  /** Skin to skin between the tips of thumb and finger, metres. */
  function tipGap(curls: ArrayLike<number>, finger: number): number {
    pose(curls);
    const b = (CHAIN_START[finger] + 3) * POSE_STRIDE;
    return (
      Math.hypot(
        poses[THUMB_TIP] - poses[b],
        poses[THUMB_TIP + 1] - poses[b + 1],
        poses[THUMB_TIP + 2] - poses[b + 2],
      ) -
      poses[THUMB_TIP + 7] -
      poses[b + 7]
    );
  }
  /** Least skin to skin distance between bones of thumb and fingers, metres, negative where they overlap. */
  function thumbGap(curls: ArrayLike<number>): number {
    pose(curls);
    let least = Number.POSITIVE_INFINITY;
    for (const bone of THUMB_BONES)
      for (let finger = 1; finger < FINGERS.length; finger++)
        for (let i = 0; i < 3; i++) least = Math.min(least, boneGap(poses, bone, CHAIN_START[finger] + i));
    return least;
  }
  return { pose, leap, tipGap, thumbGap };
}

/**
 * The worst that can be found: random places, and from the worst of them uphill.
 * @param measure what is to be large, of five curls
 * @param random 0..1
 */
export function worst(
  measure: (curls: readonly number[]) => number,
  random: () => number,
  { places = 4000, climbs = 6, steps = 150 } = {},
): { value: number; curls: readonly number[] } {
  const found = Array.from({ length: places }, () => {
    const curls = FINGERS.map(random);
    return { value: measure(curls), curls };
  }).sort((a, b) => b.value - a.value);
  for (const place of found.slice(0, climbs)) {
    let reach = 0.1;
    for (let step = 0; step < steps; step++) {
      const curls = place.curls.map((curl) => Math.min(Math.max(curl + reach * (2 * random() - 1), 0), 0.99));
      const value = measure(curls);
      if (value > place.value) Object.assign(place, { value, curls });
      else reach *= 0.97;
    }
  }
  return found.slice(0, climbs).sort((a, b) => b.value - a.value)[0];
}
