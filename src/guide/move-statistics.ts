import type { MoveRecord, RecordedMove } from './move-record.js';

/** Robust figures over parts of a recorded channel. All in counts. */

/** Value below which a part p of the data lies; NaN without data. */
export function quantile(values: ArrayLike<number>, p: number): number {
  const { length } = values;
  if (length === 0) return Number.NaN;
  const copy = new Float64Array(values);
  const at = p * (length - 1);
  const low = Math.floor(at);
  select(copy, low);
  if (at === low) return copy[low];
  let next = copy[low + 1];
  for (let i = low + 2; i < length; i++) if (copy[i] < next) next = copy[i];
  return copy[low] + (at - low) * (next - copy[low]);
}

/**
 * Puts the value that would be at `rank` if all were sorted there, and what is larger behind it: quickselect (Hoare,
 * "Algorithm 65: Find", CACM 4(7), 1961). A minute of a channel is tens of thousands of numbers, and the service has
 * other things to do than to sort them.
 */
function select(values: Float64Array, rank: number): void {
  let from = 0;
  let to = values.length - 1;
  while (from < to) {
    const pivot = values[(from + to) >> 1];
    let left = from;
    let right = to;
    while (left <= right) {
      while (values[left] < pivot) left++;
      while (values[right] > pivot) right--;
      if (left > right) break;
      const value = values[left];
      values[left++] = values[right];
      values[right--] = value;
    }
    if (rank <= right) to = right;
    else if (rank >= left) from = left;
    else return;
  }
}

export const median = (values: ArrayLike<number>): number => quantile(values, 0.5);

/** Consistent with the standard deviation for Gaussian noise. */
export const MAD_TO_SD = 1.4826;
/** Standard deviation of the second difference of white noise over that of the noise. */
const SECOND_DIFFERENCE = Math.sqrt(6);

/**
 * Standard deviation of the noise, from the median absolute second difference: neither smooth motion nor rare
 * jumps count. Below half a count the rounding of the converter hides it: then 0.
 */
export function noiseOf(counts: ArrayLike<number>): number {
  if (counts.length < 8) return 0;
  const bends = new Float64Array(counts.length - 2);
  for (let t = 2; t < counts.length; t++)
    bends[t - 2] = Math.abs(counts[t] - 2 * counts[t - 1] + counts[t - 2]);
  return (MAD_TO_SD * median(bends)) / SECOND_DIFFERENCE;
}

/** Medians over stretches of so many seconds: motion without noise, spikes and glitches. */
export interface Trace {
  readonly timesS: Float64Array;
  /** By channel. */
  readonly levels: readonly Float64Array[];
  /** Index of the first stretch of each recorded move, and one past the last. */
  readonly moveStart: Int32Array;
}

export function traceOf(record: MoveRecord, stretchS: number): Trace {
  const { timesS, moves, channels } = record;
  const starts: number[] = [];
  const moveStart = new Int32Array(moves.length + 1);
  for (const [m, move] of moves.entries()) {
    moveStart[m] = starts.length;
    let next = Number.NEGATIVE_INFINITY;
    for (let t = move.from; t < move.to; t++) {
      if (timesS[t] < next) continue;
      starts.push(t);
      next = timesS[t] + stretchS;
    }
  }
  moveStart[moves.length] = starts.length;
  const end = moves.length > 0 ? moves[moves.length - 1].to : 0;
  const levels = Array.from({ length: channels }, (_, i) => {
    const column = record.column(i);
    return Float64Array.from(starts, (from, k) => median(column.subarray(from, starts[k + 1] ?? end)));
  });
  return { timesS: Float64Array.from(starts, (t) => timesS[t]), levels, moveStart };
}

/** The recorded moves with their number. */
export const numbered = (record: MoveRecord): [number, RecordedMove][] => [...record.moves.entries()];

/** Slope of a line through points, the median over all pairs (Theil & Sen). */
export function slopeOf(x: ArrayLike<number>, y: ArrayLike<number>): number {
  const slopes: number[] = [];
  for (let a = 0; a < x.length; a++) {
    for (let b = a + 1; b < x.length; b++) if (x[b] > x[a]) slopes.push((y[b] - y[a]) / (x[b] - x[a]));
  }
  return slopes.length > 0 ? median(slopes) : 0;
}
