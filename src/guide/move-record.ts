import type { Move } from './moves.js';

/** Raw counts of a guided run, sample by sample, with the moves they belong to. Memory grows by doubling. */
export interface MoveRecord {
  readonly channels: number;
  readonly length: number;
  /** Device times, s, rising. */
  readonly timesS: Float64Array;
  /** Counts of one channel, `length` long. */
  column(channel: number): Uint16Array;
  /** The moves so far with the samples during each: [from, to). */
  readonly moves: readonly RecordedMove[];
  begin(move: Move): void;
  /** @returns false when the record is full */
  add(counts: ArrayLike<number>, timeS: number): boolean;
}

export interface RecordedMove {
  readonly move: Move;
  readonly from: number;
  to: number;
  /** The move was seen to be made (or its time, for moves of fixed length, ran out); false: given up waiting. */
  made: boolean;
}

/** Counts kept at most: five minutes of 16 channels at 1000 Hz, some 10 MB. */
const MOST_COUNTS = 5_000_000;
const FIRST_SAMPLES = 8192;

export function createMoveRecord(channels: number): MoveRecord {
  const moves: RecordedMove[] = [];
  const most = Math.floor(MOST_COUNTS / Math.max(1, channels));
  let room = Math.min(FIRST_SAMPLES, most);
  let times = new Float64Array(room);
  let columns = Array.from({ length: channels }, () => new Uint16Array(room));
  let length = 0;
  return {
    channels,
    moves,
    get length() {
      return length;
    },
    get timesS() {
      return times.subarray(0, length);
    },
    column: (channel) => columns[channel].subarray(0, length),
    begin(move) {
      moves.push({ move, from: length, to: length, made: false });
    },
    add(counts, timeS) {
      if (length === room) {
        if (room >= most) return false;
        room = Math.min(2 * room, most);
        times = grown(times, new Float64Array(room));
        columns = columns.map((column) => grown(column, new Uint16Array(room)));
      }
      times[length] = timeS;
      for (let i = 0; i < channels; i++) columns[i][length] = counts[i];
      length++;
      const last = moves[moves.length - 1];
      if (last) last.to = length;
      return true;
    },
  };
}

function grown<T extends Float64Array | Uint16Array>(from: T, to: T): T {
  to.set(from);
  return to;
}
