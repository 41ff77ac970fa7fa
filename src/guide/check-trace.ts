import type { MoveRecord } from './move-record.js';

/** What a check has recorded, thinned out for plots: of each stretch of time the least and the most, so that a jump shows. */
export interface CheckTrace {
  /** The moves, s from the beginning. */
  readonly moves: readonly { readonly name: string; readonly fromS: number; readonly toS: number }[];
  /** Length of the whole, s. */
  readonly seconds: number;
  /** Parts of the converter, 0..1: one of each a stretch; all stretches are of the same length. */
  readonly channels: readonly {
    readonly role: string;
    readonly low: readonly number[];
    readonly high: readonly number[];
  }[];
}

const STRETCHES = 360;

export function checkTraceOf(
  record: MoveRecord,
  channels: readonly {
    readonly role: string;
    readonly source: number;
    readonly lookup: { readonly maxCounts: number };
  }[],
): CheckTrace {
  const { timesS, moves, length } = record;
  if (length === 0) return { moves: [], seconds: 0, channels: [] };
  const first = timesS[0];
  const seconds = timesS[length - 1] - first;
  const stretches = Math.min(STRETCHES, length);
  const round = (part: number) => Math.round(part * 1e4) / 1e4;
  return {
    seconds,
    moves: moves
      .filter(({ from, to }) => to > from)
      .map(({ move: { name }, from, to }) => ({
        name,
        fromS: timesS[from] - first,
        toS: timesS[to - 1] - first,
      })),
    channels: channels.flatMap(({ role, source, lookup }, i) => {
      if (source < 0) return [];
      const counts = record.column(i);
      const low = new Float64Array(stretches).fill(Number.POSITIVE_INFINITY);
      const high = new Float64Array(stretches).fill(Number.NEGATIVE_INFINITY);
      for (let t = 0; t < length; t++) {
        const at = Math.min(stretches - 1, Math.floor(((timesS[t] - first) / (seconds || 1)) * stretches));
        low[at] = Math.min(low[at], counts[t]);
        high[at] = Math.max(high[at], counts[t]);
      }
      // Nothing came meanwhile: what was there before stays.
      for (let k = 1; k < stretches; k++) {
        if (low[k] <= high[k]) continue;
        low[k] = low[k - 1];
        high[k] = high[k - 1];
      }
      const parts = (values: Float64Array) => Array.from(values, (x) => round(x / lookup.maxCounts));
      return [{ role, low: parts(low), high: parts(high) }];
    }),
  };
}
