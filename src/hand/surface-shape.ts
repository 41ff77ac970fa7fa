import { FINGER_BASE, FINGERS, POSE_STRIDE, WRIST } from './joints.js';
import { type Quaternion, rotate } from './rotation.js';
import type { RoundCone } from './round-cone.js';

/**
 * What a hand's skin is modelled from: round cones between the joints, with the joints' radii, and the flesh of the
 * palm. Lengths that no joint gives are parts of joint radii, by eye: common practice of figure drawing, no source.
 */
export interface HandShape {
  /** Per finger, from the knuckle (thumb: from the proximal joint) on. */
  readonly fingers: readonly (readonly RoundCone[])[];
  readonly palm: readonly RoundCone[];
  /** The arm is cut off here, z, metres. */
  readonly armEndM: number;
}

type Point = readonly [number, number, number];

const THUMB = 0;
/** How far the arm reaches behind the wrist, in radii of the wrist. */
const ARM = 2.4;
/** A phalanx is slimmer between its joints. */
const WAIST = 0.965;

/** @param poses 26 × POSE_STRIDE, wrist at the origin, fingers stretched and apart */
export function shapeOf(poses: ArrayLike<number>): HandShape {
  const point = (joint: number): Point => {
    const at = joint * POSE_STRIDE;
    return [poses[at], poses[at + 1], poses[at + 2]];
  };
  const radius = (joint: number): number => poses[joint * POSE_STRIDE + 7];
  /** Beside a joint, in its own axes, in its own radii. */
  const beside = (joint: number, x: number, y: number, z: number): Point => {
    const at = joint * POSE_STRIDE;
    const q: Quaternion = [poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]];
    const r = radius(joint);
    return add(point(joint), rotate(q, [x * r, y * r, z * r]) as unknown as Point);
  };

  const fingers = FINGERS.map((_, finger) => {
    const base = FINGER_BASE[finger];
    const first = base + 1;
    const tip = base + (finger === THUMB ? 3 : 4);
    const cones: RoundCone[] = [];
    for (let joint = first; joint < tip; joint++) {
      const [a, b] = [point(joint), point(joint + 1)];
      const [ra, rb] = [radius(joint), radius(joint + 1)];
      if (joint + 1 === tip) {
        cones.push(cone(a, ra, b, rb));
        continue;
      }
      const middle = mix(a, b, 0.5);
      const waist = (WAIST * (ra + rb)) / 2;
      cones.push(cone(a, ra, middle, waist), cone(middle, waist, b, rb));
      // Flesh on the inner side between two creases.
      const pad = add(middle, scale(sub(beside(joint, 0, -1, 0), point(joint)), 0.2));
      cones.push(cone(pad, waist * 0.92, mix(pad, b, 0.3), waist * 0.88));
    }
    return cones;
  });

  const palm: RoundCone[] = [];
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const base = FINGER_BASE[finger];
    palm.push(cone(point(base), radius(base), point(base + 1), radius(base + 1)));
    palm.push(cone(point(WRIST), radius(WRIST) * 0.9, point(base), radius(base)));
    if (finger + 1 === FINGERS.length) continue;
    const next = FINGER_BASE[finger + 1];
    palm.push(
      cone(
        mix(point(base), point(next), 0.5),
        (radius(base) + radius(next)) / 2,
        mix(point(base + 1), point(next + 1), 0.5),
        0.45 * (radius(base + 1) + radius(next + 1)),
      ),
    );
  }
  // The ball of the thumb, and the web from it to the index finger.
  const [thumb, index, little] = [FINGER_BASE[0], FINGER_BASE[1], FINGER_BASE[4]];
  const ball = mix(point(thumb), point(thumb + 1), 0.45);
  palm.push(
    cone(point(thumb), radius(thumb), point(thumb + 1), radius(thumb + 1)),
    cone(point(thumb), radius(thumb), ball, radius(thumb) * 1.12),
    cone(point(WRIST), radius(WRIST) * 0.8, ball, radius(thumb)),
    cone(
      mix(point(thumb), point(thumb + 1), 0.55),
      radius(thumb) * 0.85,
      mix(point(index), point(index + 1), 0.45),
      radius(index) * 0.8,
    ),
    cone(
      mix(point(thumb), point(thumb + 1), 0.85),
      radius(thumb + 1) * 0.6,
      mix(point(index), point(index + 1), 0.7),
      radius(index) * 0.6,
    ),
  );
  // The ball of the little finger, and the flesh under the knuckles.
  palm.push(
    cone(beside(little, 0.1, -0.25, 0.4), radius(little), beside(little + 1, 0, -0.25, 1.4), radius(little)),
  );
  palm.push(
    cone(
      beside(index + 1, 0, -0.3, 0.9),
      radius(index + 1) * 0.85,
      beside(little + 1, 0, -0.3, 0.9),
      radius(little + 1) * 0.85,
    ),
  );
  const wrist = radius(WRIST);
  for (const side of [-0.62, 0.62]) {
    palm.push(
      cone(
        [side * wrist, -0.1 * wrist, 0],
        wrist * 0.97,
        [side * wrist, -0.1 * wrist, (ARM + 1) * wrist],
        wrist,
      ),
    );
  }
  return { fingers, palm, armEndM: ARM * wrist };
}

const cone = (a: Point, ra: number, b: Point, rb: number): RoundCone => [...a, ra, ...b, rb];
const add = (a: Point, b: Point): Point => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const sub = (a: Point, b: Point): Point => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const scale = (a: Point, by: number): Point => [a[0] * by, a[1] * by, a[2] * by];
const mix = (a: Point, b: Point, part: number): Point => add(a, scale(sub(b, a), part));
