import { FINGERS, type HandSide } from '../hand/joints.js';
import { INFERRED, INVALID } from '../hand/validity.js';
import { GESTURES, type GestureName } from '../protocol/constants.js';
import type { Inputs } from './inputs.js';
import type { Sensing } from './sensing.js';

/**
 * What the hand is doing, as states that begin and end, for apps that want no thresholds of their own. Pinch, aim and
 * grasp follow the input values of the same OpenXR names; point, fist and flat follow the curls.
 */
export interface Gestures {
  /** Per gesture, in the order of GESTURES: 1 while it is made. */
  readonly active: Uint8Array;
  /** Since when it has been so, µs; NaN: since the hand is known. */
  readonly sinceUs: Float64Array;
  /** @returns whether any state changed */
  update(sensing: Sensing, timeUs: number): boolean;
}

/**
 * How much a gesture is made at which it begins, and below which it ends: 0 not at all, 1 entirely. Common practice. A
 * pinch begins 7 mm skin to skin and ends at 14 mm; a fist begins at 0.72 curl of every finger and ends at 0.56; a hand is
 * flat from 0.15 curl down and until 0.25.
 */
const BEGINS: Readonly<Record<GestureName, number>> = {
  pinch_ext: 0.95,
  aim_activate_ext: 0.7,
  grasp_ext: 0.7,
  point: 0.6,
  fist: 0.9,
  flat: 0.7,
};
const ENDS: Readonly<Record<GestureName, number>> = {
  pinch_ext: 0.8,
  aim_activate_ext: 0.5,
  grasp_ext: 0.5,
  point: 0.4,
  fist: 0.7,
  flat: 0.5,
};
/** A state lasts so long at least, unless the hand is lost: quicker than any tap, slower than a fault that passes. */
const LEAST_US = 60_000;
/** A hand that opens from a fist goes through a pinch: none begins until so long after it. */
const AFTER_FIST_US = 250_000;
/** Curl up to which a finger counts as open, from which as closed, and from which the thumb is in a fist. */
const OPEN_CURL = 0.5;
const CLOSED_CURL = 0.8;
const TUCKED_CURL = 0.3;

const PINCH = GESTURES.indexOf('pinch_ext');
const POINT = GESTURES.indexOf('point');
const FIST = GESTURES.indexOf('fist');
const FLAT = GESTURES.indexOf('flat');
const INDEX = FINGERS.indexOf('index');
const COUNT = GESTURES.length;

/** @param inputs of the same hand, updated before */
export function createGestures(hand: HandSide, inputs: Pick<Inputs, 'values' | 'indexOf'>): Gestures {
  const active = new Uint8Array(COUNT);
  const sinceUs = new Float64Array(COUNT).fill(Number.NaN);
  const made = new Float64Array(COUNT);
  const begins = Float64Array.from(GESTURES, (name) => BEGINS[name]);
  const ends = Float64Array.from(GESTURES, (name) => ENDS[name]);
  /** Where the value of each is among the inputs; -1: it follows the curls. */
  const inputAt = Int16Array.from(GESTURES, (name) =>
    inputs.indexOf(`/user/hand/${hand}/input/${name}/value`),
  );

  function measure({ curl, fingerStates }: Sensing): void {
    let leastBehind = 1;
    let most = curl[INDEX];
    let known = true;
    for (let finger = 0; finger < FINGERS.length; finger++) {
      if (fingerStates[finger] === INVALID) known = false;
      if (finger <= INDEX) continue;
      if (curl[finger] < leastBehind) leastBehind = curl[finger];
      if (curl[finger] > most) most = curl[finger];
    }
    for (let i = 0; i < COUNT; i++) made[i] = known && inputAt[i] >= 0 ? inputs.values[inputAt[i]] : 0;
    if (!known) return;
    const index = curl[INDEX];
    // A finger that is filled in does not point.
    if (fingerStates[INDEX] > INFERRED)
      made[POINT] = Math.min(1 - index / OPEN_CURL, leastBehind / CLOSED_CURL);
    made[FIST] = Math.min(index / CLOSED_CURL, leastBehind / CLOSED_CURL, curl[0] / TUCKED_CURL);
    made[FLAT] = 1 - most / OPEN_CURL;
  }

  return {
    active,
    sinceUs,
    update(sensing, timeUs) {
      measure(sensing);
      const lost = sensing.fingerStates[0] === INVALID;
      let changed = false;
      const sinceFistUs = timeUs - sinceUs[FIST];
      const opening = active[FIST] === 1 || (sinceFistUs >= 0 && sinceFistUs < AFTER_FIST_US);
      if (opening && active[PINCH] === 0) made[PINCH] = 0;
      for (let i = 0; i < COUNT; i++) {
        const was = active[i];
        // Written so that what is not a number ends it.
        const is = made[i] >= (was === 1 ? ends[i] : begins[i]) ? 1 : 0;
        if (is === was) continue;
        const lastedUs = timeUs - sinceUs[i];
        // Times of a replay may start over.
        if (!lost && lastedUs >= 0 && lastedUs < LEAST_US) continue;
        active[i] = is;
        sinceUs[i] = timeUs;
        changed = true;
      }
      return changed;
    },
  };
}
