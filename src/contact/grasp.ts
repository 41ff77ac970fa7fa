import { FINGERS } from '../hand/joints.js';
import { type FingerContact, NO_STOP } from './finger-contact.js';

/** Which fingers hold one thing that is touched, and whether they would carry it. Reused. */
export interface Grasp {
  /** Per finger: 1 while it is at the surface. */
  readonly fingers: Uint8Array;
  /**
   * Two of them press against each other through the thing: the line between their contacts lies inside both cones of
   * friction. With skin that also resists turning about that line, such a pair can withstand any force and moment
   * (force closure of two soft-finger contacts: Nguyen, International Journal of Robotics Research 7(3), 1988; from
   * memory).
   */
  carried: boolean;
}

export const createGrasp = (): Grasp => ({ fingers: new Uint8Array(FINGERS.length), carried: false });

/** A finger is at the surface from this far before it, and until it is this far from it, metres. */
const HOLDS_FROM_M = 5e-4;
const LETS_GO_M = 2e-3;
/** What is carried is let go only when the grasp is worse than this coefficient times as much would need. */
const HYSTERESIS = 1.2;
/** Skin on wood or plastic, from memory. */
export const DEFAULT_FRICTION = 0.6;
/** Contacts nearer than this oppose nothing, metres. */
const LEAST_APART_M = 1e-3;

/**
 * Takes over the contacts of the present pose.
 * @param friction coefficient between skin and thing
 * @returns whether anything changed
 */
export function updateGrasp(grasp: Grasp, contacts: readonly FingerContact[], friction: number): boolean {
  const { fingers } = grasp;
  let changed = false;
  for (let finger = 0; finger < fingers.length; finger++) {
    const { stop, depth } = contacts[finger];
    const least = fingers[finger] === 1 ? -LETS_GO_M : -HOLDS_FROM_M;
    const holds = stop < NO_STOP && depth >= least ? 1 : 0;
    if (holds === fingers[finger]) continue;
    fingers[finger] = holds;
    changed = true;
  }
  const enough = grasp.carried ? friction * HYSTERESIS : friction;
  const carried = anyOpposed(fingers, contacts, enough);
  if (carried === grasp.carried) return changed;
  grasp.carried = carried;
  return true;
}

function anyOpposed(fingers: Uint8Array, contacts: readonly FingerContact[], friction: number): boolean {
  for (let a = 0; a < fingers.length; a++) {
    if (fingers[a] === 0) continue;
    for (let b = a + 1; b < fingers.length; b++) {
      if (fingers[b] === 1 && opposed(contacts[a], contacts[b], friction)) return true;
    }
  }
  return false;
}

/** Whether the line between two contacts lies inside both cones of friction. Normals point out of the thing. */
export function opposed(
  a: Pick<FingerContact, 'point' | 'normal'>,
  b: Pick<FingerContact, 'point' | 'normal'>,
  friction: number,
): boolean {
  const dx = b.point[0] - a.point[0];
  const dy = b.point[1] - a.point[1];
  const dz = b.point[2] - a.point[2];
  const apart = Math.sqrt(dx * dx + dy * dy + dz * dz);
  if (!(apart > LEAST_APART_M)) return false;
  const least = apart / Math.sqrt(1 + friction * friction);
  const alongA = -(dx * a.normal[0] + dy * a.normal[1] + dz * a.normal[2]);
  const alongB = dx * b.normal[0] + dy * b.normal[1] + dz * b.normal[2];
  return alongA > least && alongB > least;
}
