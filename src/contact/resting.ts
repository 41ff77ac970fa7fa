import { type ClosingProfile, curlOf, setCurl } from '../hand/closing.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray } from '../hand/dofs.js';
import { FINGERS } from '../hand/joints.js';
import type { Touch, TouchContacts } from './touches.js';

/**
 * The hand as it is to be shown while it touches. A finger that is held at a surface is measured some millimetres
 * inside it, as string, glove and flesh give: it is shown resting on the surface, further back on its closing path,
 * and how deep it is becomes a pressure. A measured pose is never changed; forces go by measured poses alone.
 *
 * A stop that is set before the surface, because string and servo give, holds a finger that is measured before it, too:
 * over as much again before the stop it is shown ever nearer to the surface, and from the stop on it rests there.
 *
 * Continuous: a finger that meets the surface goes on from where it is, and one that has left it too. Where a shape
 * comes or goes about a finger, the finger is eased to its new place.
 */
export interface Resting {
  /** Per finger, 0 not pressed, rising towards 1: 0.5 at PRESSED_M deep. */
  readonly pressures: Float64Array;
  /**
   * Call once a sample.
   * @param timeUs of the sample
   * @param dofs as measured, radians
   * @param curls that the stops of `contacts` are compared with; taken from `dofs` when absent
   * @param gives per finger, curl by which the stop that holds it is before the surface; none when absent
   */
  update(
    timeUs: number,
    dofs: DofArray,
    contacts: TouchContacts,
    curls?: ArrayLike<number>,
    gives?: ArrayLike<number>,
  ): void;
  /** Puts fingers where they rest. @param dofs as measured, or predicted from that; in place */
  rest(dofs: DofArray): void;
}

/** Depth at pressure 0.5, m: that of a finger held with the usual tension by the usual string. */
export const PRESSED_M = 0.005;
/** Fastest that a finger is taken out of a shape, and given back to where it is measured, curl a second. */
const OUT_PER_S = 12;
const BACK_PER_S = 2;

export function createResting(profile: ClosingProfile): Resting {
  const pressures = new Float64Array(FINGERS.length);
  /** How much less curl is shown than measured. */
  const lifted = new Float64Array(FINGERS.length);
  /** How much more curl is shown than measured, before that is taken off. */
  const forward = new Float64Array(FINGERS.length);
  /** What is left of that from before something else began to stop it, or nothing did. */
  const easing = new Float64Array(FINGERS.length);
  const lastBy = new Array<Touch | undefined>(FINGERS.length).fill(undefined);
  /** Curl that a finger which is all at the surface is not shown beyond. */
  const stops = new Float64Array(FINGERS.length);
  const depthsPerCurl = new Float64Array(FINGERS.length);
  /** How much more curl its sensor says than its joints: a thumb that is guided to a pinch. */
  const aside = new Float64Array(FINGERS.length);
  const scratch = new Float64Array(DOF_COUNT);
  const clock = Float64Array.of(Number.NEGATIVE_INFINITY);

  /** Takes a finger back on its path: what its joints deviate from the profile fades towards the open finger. */
  function moveTo(finger: number, dofs: DofArray, from: number, to: number): void {
    const dof = finger * DOFS_PER_FINGER;
    const share = from > to ? to / from : 1;
    setCurl(profile, finger, from, scratch);
    for (let i = dof; i < dof + DOFS_PER_FINGER; i++) dofs[i] -= scratch[i];
    if (finger !== 0) dofs[dof + 1] += scratch[dof + 1];
    setCurl(profile, finger, to, scratch);
    for (let i = dof; i < dof + DOFS_PER_FINGER; i++) {
      if (i !== dof + 1) dofs[i] = share * dofs[i] + scratch[i];
      else if (finger === 0) dofs[i] += scratch[i];
    }
  }

  return {
    pressures,
    update(timeUs, dofs, contacts, curls, gives) {
      const passed = (timeUs - clock[0]) / 1e6;
      if (passed === 0) return;
      clock[0] = timeUs;
      // After a pause, or a time that went back, nobody saw what was before.
      const dtS = passed > 0 ? passed : Number.POSITIVE_INFINITY;
      for (let finger = 0; finger < FINGERS.length; finger++) {
        const stop = contacts.stop[finger];
        const contact = contacts.contact[finger];
        let curl = 0;
        if (contact || lifted[finger] > 0 || forward[finger] > 0) {
          const byJoints = curlOf(profile, finger, dofs);
          curl = curls ? Math.min(Math.max(curls[finger], 0), 1) : byJoints;
          aside[finger] = curl - byJoints;
        }
        const give = contact && gives ? gives[finger] : 0;
        const near = Math.min(Math.max(curl - stop + 2 * give, 0), give);
        forward[finger] += Math.min(Math.max(near - forward[finger], -OUT_PER_S * dtS), OUT_PER_S * dtS);
        const reached = curl + forward[finger];
        const wanted = contact && reached > stop ? reached - stop : 0;
        const by = contacts.by[finger];
        // Another thing stops it than before, or none: from here on it is eased from where it was shown.
        let left = by === lastBy[finger] ? easing[finger] : lifted[finger] - wanted;
        lastBy[finger] = by;
        left = left > 0 ? Math.max(left - BACK_PER_S * dtS, 0) : Math.min(left + OUT_PER_S * dtS, 0);
        easing[finger] = left;
        const now = Math.max(wanted + left, 0);
        lifted[finger] = now;
        stops[finger] = left === 0 && contact ? stop : Number.POSITIVE_INFINITY;
        if (contact) depthsPerCurl[finger] = contact.depthPerCurl;
        const depthM = now * depthsPerCurl[finger];
        pressures[finger] = depthM > 0 ? depthM / (depthM + PRESSED_M) : 0;
      }
    },
    rest(dofs) {
      for (let finger = 0; finger < FINGERS.length; finger++) {
        const by = lifted[finger];
        const stop = stops[finger];
        if (by <= 0 && forward[finger] === 0 && stop === Number.POSITIVE_INFINITY) continue;
        const curl = Math.min(Math.max(curlOf(profile, finger, dofs) + aside[finger], 0), 1);
        const to = Math.max(Math.min(curl + forward[finger] - by, stop), 0);
        if (to !== curl) moveTo(finger, dofs, curl, to);
      }
    },
  };
}
