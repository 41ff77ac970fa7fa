import { FINGER_BASE, FINGER_JOINTS, FINGERS, POSE_STRIDE } from './joints.js';
import { type Quaternion, rotate } from './rotation.js';

/** Nails tell the back of a hand from its palm. Proportions by eye, in radii of the tip joint. */
const STEPS_ACROSS = 10;
const STEPS_ALONG = 12;
/** From behind the tip joint to before it. */
const FROM = 1.25;
const TO = -0.6;
const HALF_ANGLE = 0.88;
const RAISED = 0.05;
const EDGE_SUNK = 0.09;

export interface Nails {
  positions: number[];
  normals: number[];
  indices: number[];
  /** Per point, index into FINGERS. */
  fingers: number[];
}

/** A curved plate on each finger's end, in the frame of the poses; the joint before the tip carries it. */
export function nailsOf(poses: ArrayLike<number>): Nails {
  const nails: Nails = { positions: [], normals: [], indices: [], fingers: [] };
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const tip = FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;
    const at = tip * POSE_STRIDE;
    const behind = at - POSE_STRIDE;
    const radius = poses[at + 7];
    const bone = Math.hypot(...[0, 1, 2].map((axis) => poses[at + axis] - poses[behind + axis]));
    const q: Quaternion = [poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]];
    const first = nails.positions.length / 3;
    for (let row = 0; row <= STEPS_ALONG; row++) {
      const v = (2 * row) / STEPS_ALONG - 1;
      const along = FROM + ((TO - FROM) * (v + 1)) / 2;
      // Rounded ends, straight sides.
      const width = Math.abs(v) < 1 ? (1 - v ** 6) ** 0.5 : 0;
      // Of the finger there; before the tip joint the plate follows the ball that the finger ends in.
      const behindTip = Math.max(0, along * radius) / bone;
      const round = Math.sqrt(1 - Math.min(0, along) ** 2);
      const skin = radius * round + behindTip * (poses[behind + 7] - radius);
      for (let column = 0; column <= STEPS_ACROSS; column++) {
        const u = (2 * column) / STEPS_ACROSS - 1;
        const angle = u * width * HALF_ANGLE;
        const edge = Math.max(Math.abs(u) ** 4, v < 0 ? v ** 6 : 0);
        const out = skin + (RAISED - (RAISED + EDGE_SUNK) * edge) * radius;
        const local = [Math.sin(angle) * out, Math.cos(angle) * out, along * radius];
        const place = rotate(q, local);
        nails.positions.push(poses[at] + place[0], poses[at + 1] + place[1], poses[at + 2] + place[2]);
        const lean = Math.min(0, along);
        nails.normals.push(...rotate(q, unit([Math.sin(angle) * round, Math.cos(angle) * round, lean])));
        nails.fingers.push(finger);
      }
    }
    const width = STEPS_ACROSS + 1;
    for (let row = 0; row < STEPS_ALONG; row++) {
      for (let column = 0; column < STEPS_ACROSS; column++) {
        const a = first + row * width + column;
        nails.indices.push(a, a + 1, a + width, a + width, a + 1, a + width + 1);
      }
    }
  }
  return nails;
}

function unit(v: readonly number[]): number[] {
  const length = Math.hypot(...v);
  return v.map((part) => part / length);
}
