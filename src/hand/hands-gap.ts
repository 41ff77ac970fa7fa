import { boneGap } from './bone-gap.js';
import type { PoseArray } from './forward.js';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, JOINT_COUNT, POSE_STRIDE, WRIST } from './joints.js';

/** Where two hands of one space are nearest, skin to skin. */
export interface HandsGap {
  /** m; negative where they overlap; Infinity where they are out of each other's reach. */
  gapM: number;
  /** The bone of each, by the joint that it begins at. */
  bone: number;
  otherBone: number;
}

/** Wrists farther apart than two hands are long cannot meet, m. */
const OUT_OF_REACH_M = 0.6;
/** Every bone of the fingers, metacarpals included, by the joint that it begins at. */
const BONES = FINGERS.flatMap((_, finger) =>
  Array.from({ length: FINGER_JOINTS[finger] - 1 }, (_, i) => FINGER_BASE[finger] + i),
);

/** @returns measures two hands; what it returns is reused */
export function createHandsGap(): (one: PoseArray, other: PoseArray) => HandsGap {
  const both = new Float64Array(2 * JOINT_COUNT * POSE_STRIDE);
  const found: HandsGap = { gapM: Number.POSITIVE_INFINITY, bone: 0, otherBone: 0 };
  const at = WRIST * POSE_STRIDE;
  return (one, other) => {
    found.gapM = Number.POSITIVE_INFINITY;
    const apart = Math.hypot(one[at] - other[at], one[at + 1] - other[at + 1], one[at + 2] - other[at + 2]);
    if (!(apart < OUT_OF_REACH_M)) return found;
    both.set(one);
    both.set(other, JOINT_COUNT * POSE_STRIDE);
    for (const bone of BONES) {
      for (const otherBone of BONES) {
        const gapM = boneGap(both, bone, JOINT_COUNT + otherBone);
        if (gapM >= found.gapM) continue;
        found.gapM = gapM;
        found.bone = bone;
        found.otherBone = otherBone;
      }
    }
    return found;
  };
}
