/**
 * Rates of values that were smoothed already: the difference from sample to sample, low-passed twice, with what the
 * low-passes and the difference itself are late added again. A value whose rate changes evenly gets the rate of this
 * moment; the error is that of a central difference, to 10 %, see the tests of shipped sessions.
 */
export interface Rates {
  /** Unit a second. */
  readonly rates: Float64Array;
  /** How fast a rate changes, unit a second squared. */
  change(i: number): number;
  /**
   * @param dtS since the last update, s, above 0
   * @param next gets the values as they will be in as much time
   */
  update(dtS: number, next: Float64Array): void;
  /** Forgets the past: what the values are now is where they rest. */
  reset(): void;
}

/** Five times as fast as a hand moves (some 8 Hz): the noise of a value at rest was filtered before. */
const CUTOFF_HZ = 40;
const TIME_CONSTANT_S = 1 / (2 * Math.PI * CUTOFF_HZ);
/** Rates below this count as 0. */
const STILL = 1e-9;

export function createRates(values: Float64Array): Rates {
  const previous = Float64Array.from(values);
  const once = new Float64Array(values.length);
  const twice = new Float64Array(values.length);
  const rates = new Float64Array(values.length);
  return {
    rates,
    change: (i) => (once[i] - twice[i]) / TIME_CONSTANT_S,
    update(dtS, next) {
      const w = dtS / TIME_CONSTANT_S;
      // Each low-pass is late by the time constant, the difference by half an interval.
      follow(values, previous, once, twice, rates, next, w / (1 + w), dtS, 1 + w / 2);
    },
    reset() {
      previous.set(values);
      once.fill(0);
      twice.fill(0);
      rates.fill(0);
    },
  };
}

/** Over arrays alone, so that it compiles to one loop. */
function follow(
  values: Float64Array,
  previous: Float64Array,
  once: Float64Array,
  twice: Float64Array,
  rates: Float64Array,
  next: Float64Array,
  alpha: number,
  dtS: number,
  late: number,
): void {
  const perS = 1 / dtS;
  const bend = (0.5 * dtS) / TIME_CONSTANT_S;
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    let first = once[i];
    let second = twice[i];
    first += alpha * ((value - previous[i]) * perS - first);
    second += alpha * (first - second);
    // Rates that decay forever would end in denormal numbers, which are slow.
    if (first < STILL && first > -STILL) first = 0;
    if (second < STILL && second > -STILL) second = 0;
    once[i] = first;
    twice[i] = second;
    const rate = first + late * (first - second);
    rates[i] = rate;
    next[i] = value + dtS * (rate + bend * (first - second));
    previous[i] = value;
  }
}
