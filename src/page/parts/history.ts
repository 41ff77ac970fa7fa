/** The last seconds of one channel, in arrays that are written again and again. */
export interface History {
  /**
   * Seconds, of the newest sample 0. Valid from `from` to `end` after `settle`: those of the last seconds, and the one before,
   * from which a line comes into what is shown.
   */
  readonly ages: Float64Array;
  readonly counts: Float64Array;
  readonly values: Float64Array;
  readonly from: number;
  readonly end: number;
  /** Least and most counts ever added. */
  readonly lowest: number;
  readonly highest: number;
  add(timeS: number, counts: number, value: number): void;
  /** Brings `ages` and `from` up to date. */
  settle(): void;
}

/** @param seconds how far back; @param rateHz most samples a second */
export function createHistory(seconds: number, rateHz: number): History {
  const kept = Math.ceil(seconds * rateHz);
  // Twice as long as needed: moved to the front only once in a while.
  const times = new Float64Array(kept * 2);
  const history = {
    ages: new Float64Array(kept * 2),
    counts: new Float64Array(kept * 2),
    values: new Float64Array(kept * 2),
    from: 0,
    end: 0,
    lowest: Number.POSITIVE_INFINITY,
    highest: Number.NEGATIVE_INFINITY,
    add(timeS: number, count: number, value: number) {
      // A service that started again has a new clock.
      if (history.end > 0 && timeS < times[history.end - 1]) history.end = 0;
      if (history.end === times.length) {
        for (const array of [times, history.counts, history.values]) array.copyWithin(0, history.end - kept);
        history.end = kept;
      }
      const at = history.end++;
      times[at] = timeS;
      history.counts[at] = count;
      history.values[at] = value;
      history.lowest = Math.min(history.lowest, count);
      history.highest = Math.max(history.highest, count);
    },
    settle() {
      const { end, ages } = history;
      const newest = end > 0 ? times[end - 1] : 0;
      let from = Math.max(0, end - kept);
      while (from + 1 < end && times[from + 1] <= newest - seconds) from++;
      for (let i = from; i < end; i++) ages[i] = times[i] - newest;
      history.from = from;
    },
  };
  return history;
}
