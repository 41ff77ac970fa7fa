/** Buckets of 1 µs up to this; what is later is counted as this late. */
const LONGEST_US = 100_000;

/** Counts of delays in µs: percentiles of any number of them in one small array. */
export class Delays {
  readonly #buckets = new Uint32Array(LONGEST_US + 1);
  count = 0;

  add(delayUs: number): void {
    this.#buckets[Math.max(0, Math.min(LONGEST_US, Math.round(delayUs)))]++;
    this.count++;
  }

  /** The p-th percentile (nearest rank), µs; NaN without any. */
  percentile(p: number): number {
    if (this.count === 0) return Number.NaN;
    let left = Math.max(1, Math.ceil((p / 100) * this.count));
    for (let us = 0; us <= LONGEST_US; us++) {
      left -= this.#buckets[us];
      if (left <= 0) return us;
    }
    return LONGEST_US;
  }

  reset(): void {
    this.#buckets.fill(0);
    this.count = 0;
  }
}
