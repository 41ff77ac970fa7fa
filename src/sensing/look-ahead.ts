import { DOFS_PER_FINGER, type DofArray } from '../hand/dofs.js';
import type { Bending } from './bending.js';
import type { Rates } from './rates.js';

/** A rate of this much, of a whole range a second, is half believed: far below it is the noise of a finger at rest. */
const HALF_BELIEVED = 0.15;
/** No rate below this is believed at all. */
const AT_REST = 0.05;

/**
 * Where the hand will be: each value goes on at its rate, slows down as it is slowing down now until it stands, and
 * what follows from the values, the guided thumb included, follows from those to come.
 */
export interface LookAhead {
  /** Degrees of freedom in `aheadS`, radians; written in place. */
  at(aheadS: number): DofArray;
  /**
   * Rates of a guided thumb, rad/s: the difference between where it will be in an interval and where it was one ago.
   * Its own angles turn too sharply, as fingers take it over, for a filter.
   * @param before of the sample before, radians
   * @param into gets the first four
   */
  thumbRates(before: DofArray, dtS: number, into: DofArray): void;
}

/**
 * @param values as bending takes them
 * @param rates of the values
 * @param ahead room for the values to come, which `bending` was made for
 */
export function createLookAhead(
  values: Float64Array,
  rates: Rates,
  ahead: Float64Array,
  bending: Bending,
): LookAhead {
  return {
    at(aheadS) {
      for (let i = 0; i < values.length; i++)
        ahead[i] = values[i] + wayAhead(rates.rates[i], rates.changes[i], aheadS);
      bending.update();
      return bending.dofs;
    },
    thumbRates(before, dtS, into) {
      for (let i = 0; i < values.length; i++)
        ahead[i] = values[i] + (rates.rates[i] + 0.5 * rates.changes[i] * dtS) * dtS;
      bending.updateThumb();
      for (let i = 0; i < DOFS_PER_FINGER; i++) into[i] = (bending.dofs[i] - before[i]) / (2 * dtS);
    },
  };
}

/** How far a value goes in a time, with its rate and the change of it. */
function wayAhead(rate: number, change: number, aheadS: number): number {
  const speed = Math.abs(rate);
  if (speed <= AT_REST) return 0;
  const beyond = speed - AT_REST;
  const belief = (beyond * beyond) / (beyond * beyond + HALF_BELIEVED * HALF_BELIEVED);
  // A finger that speeds up may stop at any time: only slowing down is foreseen, and not beyond standing still.
  if (!(change * rate < 0)) return belief * rate * aheadS;
  const timeS = Math.min(aheadS, -rate / change);
  return belief * (rate * timeS + 0.5 * change * timeS * timeS);
}
