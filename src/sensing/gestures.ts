import type { HandSide } from '../hand/joints.js';
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
const AIM = GESTURES.indexOf('aim_activate_ext');
const GRASP = GESTURES.indexOf('grasp_ext');
const POINT = GESTURES.indexOf('point');
const FIST = GESTURES.indexOf('fist');
const FLAT = GESTURES.indexOf('flat');
const COUNT = GESTURES.length;

/** @param inputs of the same hand, updated before */
export function createGestures(hand: HandSide, inputs: Pick<Inputs, 'values' | 'indexOf'>): Gestures {
  const active = new Uint8Array(COUNT);
  const sinceUs = new Float64Array(COUNT).fill(Number.NaN);
  /** From here on each begins, or, while it is made, below here it ends. */
  const threshold = Float64Array.from(GESTURES, (name) => BEGINS[name]);
  const { values } = inputs;
  const valueAt = (name: GestureName): number => inputs.indexOf(`/user/hand/${hand}/input/${name}/value`);
  const pinchAt = valueAt('pinch_ext');
  const aimAt = valueAt('aim_activate_ext');
  const graspAt = valueAt('grasp_ext');
  let changed = false;

  /** @param made how much of it; written so that what is not a number ends it */
  function judge(gesture: number, made: number, timeUs: number, lost: boolean): void {
    const is = made >= threshold[gesture];
    if (is !== (active[gesture] === 1)) change(gesture, timeUs, lost);
  }

  function change(gesture: number, timeUs: number, lost: boolean): void {
    const lastedUs = timeUs - sinceUs[gesture];
    // Times of a replay may start over.
    if (!lost && lastedUs >= 0 && lastedUs < LEAST_US) return;
    if (gesture === PINCH && active[PINCH] === 0) {
      const sinceFistUs = timeUs - sinceUs[FIST];
      if (active[FIST] === 1 || (sinceFistUs >= 0 && sinceFistUs < AFTER_FIST_US)) return;
    }
    const is = 1 - active[gesture];
    active[gesture] = is;
    sinceUs[gesture] = timeUs;
    const name = GESTURES[gesture];
    threshold[gesture] = is === 1 ? ENDS[name] : BEGINS[name];
    changed = true;
  }

  return {
    active,
    sinceUs,
    update({ curl, fingerStates: states }, timeUs) {
      changed = false;
      let known = true;
      for (let finger = 0; finger < states.length; finger++) if (states[finger] === INVALID) known = false;
      if (!known) {
        const lost = states[0] === INVALID;
        for (let gesture = 0; gesture < COUNT; gesture++) judge(gesture, 0, timeUs, lost);
        return changed;
      }
      const index = curl[1];
      let least = curl[2];
      let most = curl[2];
      for (let finger = 3; finger < curl.length; finger++) {
        const value = curl[finger];
        if (value < least) least = value;
        if (value > most) most = value;
      }
      const behind = least / CLOSED_CURL;
      const open = 1 - index / OPEN_CURL;
      const closed = index / CLOSED_CURL;
      const tucked = curl[0] / TUCKED_CURL;
      const fingersClosed = Math.min(closed, behind);
      const opened = 1 - most / OPEN_CURL;
      judge(FIST, Math.min(tucked, fingersClosed), timeUs, false);
      judge(PINCH, values[pinchAt], timeUs, false);
      judge(AIM, values[aimAt], timeUs, false);
      judge(GRASP, values[graspAt], timeUs, false);
      // A finger that is filled in does not point.
      judge(POINT, states[1] === INFERRED ? 0 : Math.min(open, behind), timeUs, false);
      judge(FLAT, Math.min(opened, open), timeUs, false);
      return changed;
    },
  };
}
