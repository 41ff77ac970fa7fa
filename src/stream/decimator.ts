/**
 * How strongly the phase follows the samples that were picked. Small enough to keep the mean rate within 0.05 % of
 * the rate granted, large enough to follow the drift between two crystals, which would otherwise move the due time
 * across a sample boundary, where jitter makes the spacing uneven.
 */
const PULL = 1 / 1024;

/**
 * Picks samples at a lower rate: for each due time the sample nearest to it. Works on sample time alone, so
 * bursts of late samples do not disturb it.
 */
export class Decimator {
  readonly #periodUs: number;
  readonly #halfSampleUs: number;
  #dueUs = Number.NEGATIVE_INFINITY;

  /**
   * @param rateHz rate wanted; 0 picks every sample
   * @param sampleRateHz rate of the samples; 0 when not known
   */
  constructor(rateHz: number, sampleRateHz: number) {
    const every = rateHz <= 0 || (sampleRateHz > 0 && rateHz >= sampleRateHz);
    this.#periodUs = every ? 0 : 1e6 / rateHz;
    this.#halfSampleUs = sampleRateHz > 0 ? 5e5 / sampleRateHz : 0;
  }

  /** Every sample is wanted. */
  get every(): boolean {
    return this.#periodUs === 0;
  }

  /** Whether the sample of this time (µs, increasing) is wanted. */
  take(timeUs: number): boolean {
    const period = this.#periodUs;
    if (period === 0) return true;
    const lateUs = timeUs - this.#dueUs;
    if (lateUs < -this.#halfSampleUs) return false;
    // After a pause, start again without a burst to make up for it. A shorter delay is jitter, and is made up for.
    this.#dueUs = lateUs > 2 * period ? timeUs + period : this.#dueUs + period + lateUs * PULL;
    return true;
  }
}

/** The rate that is granted: at most the rate of the samples. `askedHz` 0: every sample; `sampleRateHz` 0: as asked. */
export function grantRate(askedHz: number, sampleRateHz: number): number {
  if (askedHz <= 0) return sampleRateHz;
  return sampleRateHz > 0 ? Math.min(askedHz, sampleRateHz) : askedHz;
}
