import { setCurl } from '../../src/hand/closing.js';
import { coupleArch } from '../../src/hand/coupling.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import { createHandModel } from '../../src/hand/hand-model.js';
import { FINGERS, type HandSide, PALM, POSE_STRIDE } from '../../src/hand/joints.js';
import { guideThumb } from '../../src/hand/natural-motion.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import type { AppMessageOf } from '../../src/protocol/messages.js';

/*
 * Where a thing and the fingers truly are, worked out apart from the program's contact solver: each bone is a row of
 * spheres from joint to joint, each thing the distance of a point from it.
 */

const SPHERES = 24;
const BONES = 3;

/** Something that lies in the palm. */
export interface Thing {
  /** As an app says it, in the axes of the wrist. */
  readonly shape: AppMessageOf<'touch'>['shape'];
  readonly orientation?: [number, number, number, number];
  /** Of a point from its surface, metres, the point given from its middle; negative inside. */
  distance(x: number, y: number, z: number): number;
  /** From its middle to its back, metres. */
  readonly halfM: number;
}

/** Signed distance of a box, edges and all. */
const boxDistance = (x: number, y: number, z: number, half: readonly number[]): number => {
  const [a, b, c] = [Math.abs(x) - half[0], Math.abs(y) - half[1], Math.abs(z) - half[2]];
  return Math.hypot(Math.max(a, 0), Math.max(b, 0), Math.max(c, 0)) + Math.min(Math.max(a, b, c), 0);
};

export const BALL_M = 0.035;
const ROD_M = 0.03;
const ROD_HALF_M = 0.025;
const BOX = [0.03, 0.026, 0.026] as const;
const CUT = [0.03, 0.025, 0.025] as const;

export const THINGS = {
  sphere: {
    shape: { kind: 'sphere', radius: BALL_M },
    distance: (x, y, z) => Math.hypot(x, y, z) - BALL_M,
    halfM: BALL_M,
  },
  box: {
    shape: { kind: 'box', size: [2 * BOX[0], 2 * BOX[1], 2 * BOX[2]] },
    distance: (x, y, z) => boxDistance(x, y, z, BOX),
    // Its flat back keeps clear of the open fingers.
    halfM: BOX[1] + 0.006,
  },
  /** A rod across the palm. */
  capsule: {
    shape: { kind: 'capsule', radius: ROD_M, length: 2 * ROD_HALF_M },
    orientation: [0, 0, Math.SQRT1_2, Math.SQRT1_2],
    distance: (x, y, z) => Math.hypot(x - Math.min(Math.max(x, -ROD_HALF_M), ROD_HALF_M), y, z) - ROD_M,
    halfM: ROD_M,
  },
  /** A box on its edge. */
  hull: {
    shape: {
      kind: 'hull',
      points: [-1, 1].flatMap((a) =>
        [-1, 1].flatMap((b) =>
          [-1, 1].map((c): [number, number, number] => [
            a * CUT[0],
            Math.SQRT1_2 * (b * CUT[1] - c * CUT[2]),
            Math.SQRT1_2 * (b * CUT[1] + c * CUT[2]),
          ]),
        ),
      ),
    },
    distance: (x, y, z) => boxDistance(x, Math.SQRT1_2 * (y + z), Math.SQRT1_2 * (z - y), CUT),
    halfM: CUT[1] * Math.SQRT2,
  },
} satisfies Record<string, Thing>;

export interface ThingInHand {
  /** Middle in the wrist's frame, metres. */
  position: [number, number, number];
  /** Curl at which each finger reaches the surface as the hand closes; above 1: never. */
  surface: number[];
}

export interface TrueHand {
  /** How deep a finger is in the thing with all fingers at these curls, metres; negative: its distance. */
  depth(finger: number, curls: readonly number[], position: readonly number[]): number;
  /** The thing in the palm of an open hand, without touching a finger, where some fingers can reach it. */
  place(random: () => number): ThingInHand;
}

/**
 * The hand of a profile that names no wearer. One sensor of a thumb says how far it has closed, not which way it went:
 * this one goes the way that the other fingers lead it, as apps see it.
 */
export function createTrueHand(side: HandSide, thing: Thing): TrueHand {
  const { skeleton, closing, natural } = createHandModel({ side, lengthM: 0.189, breadthM: 0.085 });
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();

  const pose = (curls: readonly number[]): void => {
    for (let finger = 0; finger < FINGERS.length; finger++) setCurl(closing, finger, curls[finger], dofs);
    guideThumb(natural, dofs, curls);
    coupleArch(dofs);
    forwardKinematics(skeleton, dofs, poses);
  };

  function depth(finger: number, curls: readonly number[], [x, y, z]: readonly number[]): number {
    pose(curls);
    let deepest = Number.NEGATIVE_INFINITY;
    for (let bone = 0; bone < BONES; bone++) {
      const from = CHAIN_START[finger] + bone;
      for (let i = 0; i <= SPHERES; i++) {
        const t = i / SPHERES;
        const along = (axis: number): number => {
          const a = poses[from * POSE_STRIDE + axis];
          return a + t * (poses[(from + 1) * POSE_STRIDE + axis] - a);
        };
        const radius = skeleton.radii[from] + t * (skeleton.radii[from + 1] - skeleton.radii[from]);
        deepest = Math.max(deepest, radius - thing.distance(along(0) - x, along(1) - y, along(2) - z));
      }
    }
    return deepest;
  }

  function surfaceOf(finger: number, position: readonly number[]): number {
    const at = (curl: number) => depth(finger, new Array<number>(FINGERS.length).fill(curl), position);
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
        const below = skeleton.radii[PALM] + thing.halfM + 0.008 * random();
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
