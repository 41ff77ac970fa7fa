import { FINGERS } from '../hand/joints.js';
import { THUMB } from './led-thumb.js';

/** Where the fingers will be in a moment: the thumb's servo needs so long, s, to be where they will have led it. */
const LEAD_S = 0.12;
/** A finger that is to close by less leads the thumb nowhere, curl. */
const LEADS_FROM = 0.005;

export interface Foreseen {
  /** Per finger, thumb first. */
  readonly curls: Float64Array;
  /** Other fingers close, and lead the thumb. */
  leads: boolean;
}

export const createForeseen = (): Foreseen => ({ curls: new Float64Array(FINGERS.length), leads: false });

/**
 * Every finger goes on as fast as it closes, as far as nothing stops it.
 * @param rates curl a second
 * @param stops of the last solve, curl; infinite where nothing is in the way
 */
export function foresee(
  foreseen: Foreseen,
  curls: ArrayLike<number>,
  rates: ArrayLike<number>,
  stops: ArrayLike<number>,
): void {
  foreseen.leads = false;
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const curl = curls[finger];
    const there = curl + LEAD_S * Math.max(rates[finger], 0);
    foreseen.curls[finger] = Math.min(there, Math.max(curl, stops[finger]), 1);
    if (finger !== THUMB && foreseen.curls[finger] > curl + LEADS_FROM) foreseen.leads = true;
  }
}
