/**
 * One Euro filter (Casiez, Roussel & Vogel, "1€ Filter: A Simple Speed-based Low-pass Filter for Noisy Input
 * in Interactive Systems", CHI 2012), as a bank over all channels of a glove.
 *
 *   derivative = lowpass((x - previous output) / dt, derivative cut-off)
 *   output     = lowpass(x, minimum cut-off + beta * |derivative|)
 *
 * Both low-passes are first order with alpha = w / (1 + w), w = 2 pi fc dt.
 */

/** Keeps the speed estimate of a still channel out of denormal numbers, which are some fifty times as slow. */
const TINY = 1e-30;

export interface OneEuroParameters {
  /** Cut-off at rest, Hz. */
  minCutoffHz: number;
  /** Rise of the cut-off with speed, Hz per unit a second. */
  beta: number;
  /** Cut-off of the speed estimate, Hz. */
  derivativeCutoffHz: number;
}

export interface OneEuroBank {
  /** Filtered value of each channel, in the unit of the input. */
  readonly values: Float64Array;
  /**
   * The filter's own speed estimate, unit a second. It measures from the lagging output, as published, so it
   * reads high while a value moves: right for the cut-off, not a velocity to show.
   */
  readonly derivatives: Float64Array;
  /**
   * Filters one sample of every channel in place.
   * @param input as many values as the bank has channels
   * @param dtS time since the last sample, s; when not above 0 the last good interval is used again
   */
  update(input: Float64Array, dtS: number): void;
  /** Forgets one channel, or all: the next sample is taken over as it is. */
  reset(channel?: number): void;
}

/**
 * @param channels number of channels
 * @param parameters shared by all channels
 * @param intervalS interval assumed until two samples with different times have come, s
 */
export function createOneEuroBank(
  channels: number,
  parameters: OneEuroParameters,
  intervalS = 0.01,
): OneEuroBank {
  const values = new Float64Array(channels);
  const derivatives = new Float64Array(channels);
  const started = new Uint8Array(channels);
  const { minCutoffHz, beta, derivativeCutoffHz } = parameters;
  let waiting = channels;
  let lastDt = intervalS;

  /** A channel without a past takes its first value over as it is. */
  function start(input: Float64Array): void {
    for (let i = 0; i < channels; i++) {
      if (started[i] !== 0) continue;
      started[i] = 1;
      values[i] = input[i];
      derivatives[i] = 0;
    }
    waiting = 0;
  }

  return {
    values,
    derivatives,
    update(input, dtS) {
      if (dtS > 0) lastDt = dtS;
      const turn = 2 * Math.PI * lastDt;
      const derivativeW = turn * derivativeCutoffHz;
      const derivativeAlpha = derivativeW / (1 + derivativeW);
      // What is its own last value with no slope stays so.
      if (waiting > 0) start(input);
      filter(input, values, derivatives, 1 / lastDt, derivativeAlpha, turn * minCutoffHz, turn * beta);
    },
    reset(channel) {
      if (channel === undefined) started.fill(0);
      else started[channel] = 0;
      waiting = channels;
    },
  };
}

/** One step of every channel, over arrays alone, so that it compiles to one loop. */
function filter(
  input: Float64Array,
  values: Float64Array,
  derivatives: Float64Array,
  rate: number,
  derivativeAlpha: number,
  minW: number,
  betaW: number,
): void {
  for (let i = 0; i < values.length; i++) {
    const previous = values[i];
    const slope = derivatives[i];
    const change = input[i] - previous;
    const smoothed = slope + derivativeAlpha * (change * rate - slope + TINY);
    const w = minW + betaW * Math.abs(smoothed);
    derivatives[i] = smoothed;
    values[i] = previous + (w / (1 + w)) * change;
  }
}
