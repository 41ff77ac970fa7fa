/**
 * Rates of values that were smoothed already: the difference from sample to sample, low-passed twice, with what the
 * low-passes and the difference itself are late added again. A value whose rate changes evenly gets the rate of this
 * moment; the error is that of a central difference, to 10 %, see the tests of shipped sessions.
 */
export interface Rates {
  /** Rate of a value, unit a second. */
  rate(i: number): number;
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
/** Of each value: what it was, its rate low-passed once, and twice. */
const STRIDE = 3;

/** @param used numbers of the values that rates are wanted of */
export function createRates(values: Float64Array, used: Int32Array): Rates {
  const state = new Float64Array(values.length * STRIDE);
  /** Each low-pass is late by the time constant, the difference by half an interval: in units of the time constant. */
  const late = new Float64Array(1);
  const rates: Rates = {
    rate: (i) => state[i * STRIDE + 1] + late[0] * (state[i * STRIDE + 1] - state[i * STRIDE + 2]),
    change: (i) => (state[i * STRIDE + 1] - state[i * STRIDE + 2]) / TIME_CONSTANT_S,
    update(dtS, next) {
      const w = dtS / TIME_CONSTANT_S;
      late[0] = 1 + w / 2;
      follow(values, used, state, next, w / (1 + w), dtS);
    },
    reset() {
      state.fill(0);
      for (let i = 0; i < values.length; i++) state[i * STRIDE] = values[i];
    },
  };
  rates.reset();
  return rates;
}

/** Over arrays alone, so that it compiles to one loop. */
function follow(
  values: Float64Array,
  used: Int32Array,
  state: Float64Array,
  next: Float64Array,
  alpha: number,
  dtS: number,
): void {
  const alphaPerS = alpha / dtS;
  const kept = 1 - alpha;
  // The way in an interval: the rate of this moment, and half of its change.
  const bent = dtS * (1 + dtS / TIME_CONSTANT_S);
  for (let k = 0; k < used.length; k++) {
    const i = used[k];
    const at = i * STRIDE;
    const value = values[i];
    let once = kept * state[at + 1] + alphaPerS * (value - state[at]);
    // Rates that decay forever would end in denormal numbers, which are slow.
    if (once < STILL && once > -STILL) once = 0;
    let twice = state[at + 2];
    twice += alpha * (once - twice);
    if (twice < STILL && twice > -STILL) twice = 0;
    state[at] = value;
    state[at + 1] = once;
    state[at + 2] = twice;
    next[i] = value + dtS * once + bent * (once - twice);
  }
}
