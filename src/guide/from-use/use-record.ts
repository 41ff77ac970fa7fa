import type { Mutable } from '../../mutable.js';

/**
 * What the channels said while the hand was in use, thinned out: a few minutes of motion in a ring that is allocated once.
 * Pure: time is an argument. A hand that rests adds nothing, and neither does a glove that lies on the table.
 */
export interface UseRecord {
  readonly channels: number;
  /** Rows kept. */
  readonly length: number;
  /** Seconds of motion that the rows stand for. */
  readonly seconds: number;
  /**
   * One sample; most are passed over.
   * @param timeS of the sample, s
   * @param held per finger, not 0 while it is held: what it does is not the wearer's doing
   * @returns true when it was kept
   */
  sample(counts: ArrayLike<number>, timeS: number, held: ArrayLike<number>): boolean;
  /** Copies what is kept, oldest first. */
  read(): UsedRows;
  forget(): void;
}

export interface UsedRows {
  /** s, rising; gaps are where nothing moved, or was held. */
  readonly timesS: Float64Array;
  /** By channel. */
  readonly counts: readonly Uint16Array[];
}

/** Time between rows, s: a closing of the hand takes half a second and more. */
export const ROW_S = 0.02;
/** Motion that is kept, s. */
const KEPT_S = 180;
/** The hand is at rest when no channel has moved by this part of the converter for so long. */
const STIRRED = 0.012;
const REST_S = 3;

/** @param full full scale of each channel, counts */
export function createUseRecord(full: ArrayLike<number>): UseRecord {
  const n = full.length;
  const room = Math.round(KEPT_S / ROW_S);
  const times = new Float64Array(room);
  const rows = new Uint16Array(room * n);
  const stirredAt = new Float64Array(n).fill(Number.NEGATIVE_INFINITY);
  // Running numbers in an array: as variables of the closure each would be a new object at every change.
  const state = Float64Array.of(Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, 0);
  const [ROW, STIR, NEXT] = [0, 1, 2];

  function keeps(rows: number): void {
    record.length = rows;
    record.seconds = rows * ROW_S;
  }

  function stirs(counts: ArrayLike<number>): boolean {
    let stirred = false;
    for (let i = 0; i < n; i++) {
      if (Math.abs(counts[i] - stirredAt[i]) <= STIRRED * full[i]) continue;
      stirredAt[i] = counts[i];
      stirred = true;
    }
    return stirred;
  }

  const record: Mutable<UseRecord> = {
    channels: n,
    length: 0,
    seconds: 0,
    sample(counts, timeS, held) {
      // Also when time goes back: a clock that started over.
      if (timeS >= state[ROW] && timeS < state[ROW] + ROW_S) return false;
      state[ROW] = timeS;
      for (let f = 0; f < held.length; f++) if (held[f] !== 0) return false;
      if (stirs(counts)) state[STIR] = timeS;
      if (!(timeS >= state[STIR] && timeS - state[STIR] <= REST_S)) return false;
      const at = state[NEXT];
      times[at] = timeS;
      for (let i = 0; i < n; i++) rows[at * n + i] = counts[i];
      state[NEXT] = at + 1 === room ? 0 : at + 1;
      if (record.length < room) keeps(record.length + 1);
      return true;
    },
    read() {
      const { length } = record;
      const first = length < room ? 0 : state[NEXT];
      const timesS = new Float64Array(length);
      const counts = Array.from({ length: n }, () => new Uint16Array(length));
      for (let k = 0; k < length; k++) {
        const at = (first + k) % room;
        timesS[k] = times[at];
        for (let i = 0; i < n; i++) counts[i][k] = rows[at * n + i];
      }
      return { timesS, counts };
    },
    forget() {
      state.fill(Number.NEGATIVE_INFINITY, 0, 2);
      state[NEXT] = 0;
      keeps(0);
      stirredAt.fill(Number.NEGATIVE_INFINITY);
    },
  };
  return record;
}
