/** The last seconds of one channel, in arrays that are written again and again. */
export interface History {
  add(timeS: number, counts: number, value: number): void;
  /** Times relative to the newest, counts, values: views, oldest first. */
  views(): [Float64Array, Float64Array, Float64Array];
  readonly lowest: number;
  readonly highest: number;
}

/** @param seconds how far back; @param rateHz most samples a second */
export function createHistory(seconds: number, rateHz: number): History {
  const kept = Math.ceil(seconds * rateHz);
  // Twice as long as needed: moved to the front only once in a while.
  const times = new Float64Array(kept * 2);
  const counts = new Float64Array(kept * 2);
  const values = new Float64Array(kept * 2);
  const shifted = new Float64Array(kept * 2);
  let end = 0;
  let lowest = Number.POSITIVE_INFINITY;
  let highest = Number.NEGATIVE_INFINITY;
  return {
    get lowest() {
      return lowest;
    },
    get highest() {
      return highest;
    },
    add(timeS, count, value) {
      // A service that started again has a new clock.
      if (end > 0 && timeS < times[end - 1]) end = 0;
      if (end === times.length) {
        for (const array of [times, counts, values]) array.copyWithin(0, end - kept);
        end = kept;
      }
      times[end] = timeS;
      counts[end] = count;
      values[end] = value;
      end++;
      lowest = Math.min(lowest, count);
      highest = Math.max(highest, count);
    },
    views() {
      const newest = end > 0 ? times[end - 1] : 0;
      let from = Math.max(0, end - kept);
      while (from < end && times[from] < newest - seconds) from++;
      for (let i = from; i < end; i++) shifted[i] = times[i] - newest;
      return [shifted.subarray(from, end), counts.subarray(from, end), values.subarray(from, end)];
    },
  };
}
