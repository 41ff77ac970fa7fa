import { DOF_COUNT, type DofArray } from '../hand/dofs.js';
import type { Bending } from './bending.js';
import { createRates } from './rates.js';

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
   * Rates of the degrees of freedom, rad/s: the difference between where they will be in an interval and where they
   * were one ago. A filter would be late, and a guided thumb turns too sharply for it as a finger takes it over.
   */
  readonly dofRates: DofArray;
  /** Call at every sample, after bending. @param dtS since the last one */
  update(dtS: number): void;
  /** What the hand is now is where it rests. */
  reset(): void;
}

/**
 * @param values as bending takes them
 * @param used numbers of those that it takes
 * @param dofs what they are bent to now
 * @param bend makes the bending of other values
 */
export function createLookAhead(
  values: Float64Array,
  used: Int32Array,
  dofs: DofArray,
  bend: (values: Float64Array) => Bending,
): LookAhead {
  const ahead = new Float64Array(values.length);
  const bending = bend(ahead);
  const rates = createRates(values, used);
  const before = new Float64Array(DOF_COUNT);
  const dofRates = new Float64Array(DOF_COUNT);
  return {
    at(aheadS) {
      for (const i of used) ahead[i] = values[i] + wayAhead(rates.rate(i), rates.change(i), aheadS);
      bending.update();
      return bending.dofs;
    },
    dofRates,
    update(dtS) {
      rates.update(dtS, ahead);
      bending.update();
      differences(bending.dofs, before, dofs, dofRates, 0.5 / dtS);
    },
    reset() {
      rates.reset();
      dofRates.fill(0);
      before.set(dofs);
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

/** Over arrays alone, so that it compiles to one loop. `before` becomes `now`. */
function differences(after: DofArray, before: DofArray, now: DofArray, rates: DofArray, perS: number): void {
  for (let i = 0; i < rates.length; i++) {
    rates[i] = (after[i] - before[i]) * perS;
    before[i] = now[i];
  }
}
