import { createClosingProfile, setCurl } from '../../src/hand/closing.js';
import { coupleArch } from '../../src/hand/coupling.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import { FINGERS, type HandSide, PALM, POSE_STRIDE } from '../../src/hand/joints.js';
import { CHAIN_START, createSkeleton } from '../../src/hand/skeleton.js';

/*
 * Where a ball and the fingers truly are, worked out apart from the program's contact solver: each bone is a row of
 * spheres from joint to joint.
 */

export const BALL_RADIUS_M = 0.035;
const SPHERES = 24;
const BONES = 3;

export interface BallInHand {
  /** Centre in the wrist's frame, metres. */
  position: [number, number, number];
  /** Curl at which each finger reaches the surface as the hand closes; above 1: never. */
  surface: number[];
}

export interface TrueHand {
  /** How deep a finger is in the ball with all fingers at these curls, metres; negative: its distance. */
  depth(finger: number, curls: readonly number[], ball: readonly number[]): number;
  /** A ball that lies in the palm of an open hand, without touching a finger, and that some fingers can reach. */
  place(random: () => number): BallInHand;
}

/** The hand of a profile that names no wearer. */
export function createTrueHand(side: HandSide): TrueHand {
  const skeleton = createSkeleton({ side, lengthM: 0.189, breadthM: 0.085 });
  const closing = createClosingProfile();
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();

  const pose = (curls: readonly number[]): void => {
    for (let finger = 0; finger < FINGERS.length; finger++) setCurl(closing, finger, curls[finger], dofs);
    coupleArch(dofs);
    forwardKinematics(skeleton, dofs, poses);
  };

  function depth(finger: number, curls: readonly number[], ball: readonly number[]): number {
    pose(curls);
    let deepest = Number.NEGATIVE_INFINITY;
    for (let bone = 0; bone < BONES; bone++) {
      const from = CHAIN_START[finger] + bone;
      for (let i = 0; i <= SPHERES; i++) {
        const t = i / SPHERES;
        let square = 0;
        for (let axis = 0; axis < 3; axis++) {
          const a = poses[from * POSE_STRIDE + axis];
          const b = poses[(from + 1) * POSE_STRIDE + axis];
          square += (a + t * (b - a) - ball[axis]) ** 2;
        }
        const radius = skeleton.radii[from] + t * (skeleton.radii[from + 1] - skeleton.radii[from]);
        deepest = Math.max(deepest, BALL_RADIUS_M + radius - Math.sqrt(square));
      }
    }
    return deepest;
  }

  function surfaceOf(finger: number, ball: readonly number[]): number {
    const at = (curl: number) => depth(finger, new Array<number>(FINGERS.length).fill(curl), ball);
    for (let step = 1; step <= 100; step++) {
      if (at(step / 100) < 0) continue;
      let low = (step - 1) / 100;
      let high = step / 100;
      for (let i = 0; i < 20; i++) {
        const middle = (low + high) / 2;
        if (at(middle) < 0) low = middle;
        else high = middle;
      }
      return high;
    }
    return 2;
  }

  return {
    depth,
    place(random) {
      const open = new Array<number>(FINGERS.length).fill(0);
      for (;;) {
        pose(open);
        const palm = PALM * POSE_STRIDE;
        const below = skeleton.radii[PALM] + BALL_RADIUS_M + 0.008 * random();
        const position: [number, number, number] = [
          poses[palm] + 0.02 * (random() - 0.5),
          poses[palm + 1] - below,
          poses[palm + 2] - 0.045 + 0.02 * (random() - 0.5),
        ];
        if (FINGERS.some((_, finger) => depth(finger, open, position) > -0.003)) continue;
        const surface = FINGERS.map((_, finger) => surfaceOf(finger, position));
        if (surface.filter((curl) => curl > 0.25 && curl < 0.85).length >= 3) return { position, surface };
      }
    },
  };
}
