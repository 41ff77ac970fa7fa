/** Rows of one clock in columns that are written again and again: what the plots draw. */
export interface TraceTable {
  readonly columns: number;
  /** Time of the newest row, s; NaN while there is none. */
  readonly newestS: number;
  /** Adds a row; one that is older than the newest starts over: another clock. NaN: not known. */
  add(timeS: number, row: ArrayLike<number>): void;
  /**
   * Rows of a span of time.
   *
   * @param columns which, in which order
   * @returns times, and an array for each column; null where nothing is known, and between rows that are far apart
   */
  slice(columns: readonly number[], fromS: number, toS: number): (number | null)[][];
  /** As it is now. */
  copy(): TraceTable;
}

/** No line is drawn over a longer silence, s. */
const SILENCE_S = 0.5;

/** @param rows that are kept at least */
export function createTraceTable(columns: number, rows: number): TraceTable {
  // Twice as long as needed: moved to the front only once in a while.
  return fromParts(columns, rows, new Float64Array(2 * rows * (columns + 1)), 0);
}

/** @param data a row after the other, its time first */
function fromParts(columns: number, rows: number, data: Float64Array, count: number): TraceTable {
  const stride = columns + 1;
  let end = count;
  /** The first row at or after a time. */
  const find = (timeS: number): number => {
    let [low, high] = [Math.max(0, end - rows), end];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (data[middle * stride] < timeS) low = middle + 1;
      else high = middle;
    }
    return low;
  };
  return {
    columns,
    get newestS() {
      return end === 0 ? Number.NaN : data[(end - 1) * stride];
    },
    add(timeS, row) {
      if (end > 0 && timeS < data[(end - 1) * stride]) end = 0;
      if (end === 2 * rows) {
        data.copyWithin(0, rows * stride);
        end = rows;
      }
      const at = end++ * stride;
      data[at] = timeS;
      for (let column = 0; column < columns; column++) data[at + 1 + column] = row[column];
    },
    slice(which, fromS, toS) {
      const out: (number | null)[][] = [[], ...which.map(() => [])];
      let lastS = Number.NaN;
      for (let row = find(fromS); row < end && data[row * stride] <= toS; row++) {
        const timeS = data[row * stride];
        if (timeS - lastS > SILENCE_S) {
          out[0].push((timeS + lastS) / 2);
          for (let i = 0; i < which.length; i++) out[i + 1].push(null);
        }
        lastS = timeS;
        out[0].push(timeS);
        for (let i = 0; i < which.length; i++) {
          const value = data[row * stride + 1 + which[i]];
          out[i + 1].push(Number.isFinite(value) ? value : null);
        }
      }
      return out;
    },
    copy: () => fromParts(columns, rows, data.slice(), end),
  };
}
