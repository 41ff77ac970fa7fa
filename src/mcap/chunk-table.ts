/** Where the chunks of a file are and which channels they hold, in columns: a day has 170 000. */
export interface ChunkTable {
  readonly count: number;
  clear(): void;
  add(offset: number, length: number, startNs: number, endNs: number): void;
  /** A chunk without an end: it is read without its CRC, and may have messages of any channel. */
  addUnfinished(offset: number, length: number, startNs: number, endNs: number): void;
  offset(chunk: number): number;
  length(chunk: number): number;
  startNs(chunk: number): number;
  endNs(chunk: number): number;
  unfinished(chunk: number): boolean;
  /** Whether it may have messages of the channel. */
  has(chunk: number, channelId: number): boolean;
  /** It has messages of the channel. */
  mark(chunk: number, channelId: number): void;
  /** Takes bytes off its end. */
  cut(chunk: number, bytes: number): void;
  /** The last chunk that begins at or before the time; the first one when none does. */
  find(timeNs: number): number;
}

const COLUMNS = 6;
const FINISHED = 0;
const UNFINISHED = 1;
const NO_CHANNELS = 0;
const ALL_CHANNELS = -1;

/** Channels share a bit from 31 on; at worst, a chunk is searched in vain. */
const bitOf = (channelId: number): number => 1 << (channelId % 32);

export function createChunkTable(): ChunkTable {
  let rows = new Float64Array(COLUMNS * 256);
  let count = 0;
  const startNs = (chunk: number): number => rows[chunk * COLUMNS + 2];

  function addRow(...row: [number, number, number, number, number, number]): void {
    if ((count + 1) * COLUMNS > rows.length) {
      const larger = new Float64Array(2 * rows.length);
      larger.set(rows);
      rows = larger;
    }
    rows.set(row, count++ * COLUMNS);
  }

  return {
    get count() {
      return count;
    },
    clear() {
      count = 0;
    },
    add: (offset, length, start, end) => addRow(offset, length, start, end, NO_CHANNELS, FINISHED),
    addUnfinished: (offset, length, start, end) =>
      addRow(offset, length, start, end, ALL_CHANNELS, UNFINISHED),
    offset: (chunk) => rows[chunk * COLUMNS],
    length: (chunk) => rows[chunk * COLUMNS + 1],
    startNs,
    endNs: (chunk) => rows[chunk * COLUMNS + 3],
    unfinished: (chunk) => rows[chunk * COLUMNS + 5] === UNFINISHED,
    has: (chunk, channelId) => (rows[chunk * COLUMNS + 4] & bitOf(channelId)) !== 0,
    mark(chunk, channelId) {
      rows[chunk * COLUMNS + 4] |= bitOf(channelId);
    },
    cut(chunk, bytes) {
      rows[chunk * COLUMNS + 1] -= bytes;
    },
    find(timeNs) {
      let low = 0;
      let high = count - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (startNs(middle) <= timeNs) low = middle;
        else high = middle - 1;
      }
      return Math.max(0, low);
    },
  };
}
