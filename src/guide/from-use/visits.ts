import { median } from '../move-statistics.js';
import { ROW_S } from './use-record.js';

/** Where a channel turned round, and how well its range shows at both ends. All in counts. */

/** One stay at the far side of a motion: the channel came from elsewhere and went back. */
export interface Visit {
  /** Rows [from, to) near the turning point. */
  readonly from: number;
  readonly to: number;
  /** Median of its stillest moment. */
  readonly level: number;
  /** It stood still long enough to be a pose. */
  readonly held: boolean;
}

/** Evidence for one end of a range. */
export interface End {
  readonly level: number;
  /** One standard deviation, counts. */
  readonly sd: number;
  /** Held poses at it. */
  readonly visits: readonly Visit[];
  /** They crowd there, more than shortly before it: hands that go anywhere do not. */
  readonly crowded: boolean;
}

/** A motion goes at least so far, part of the range. */
const MOTION = 0.2;
/** What is so near to the turning point belongs to the stay. */
const NEAR = 0.04;
/** A pose is held for so long, s. */
const HELD_S = 0.2;
/** A held pose stays within this part of the range. */
const STILL = 0.02;
/** An end is where two poses agree to this part of the range. */
const AGREE = 0.03;
/** Poses so near to the end belong to it. */
const AT_END = 0.06;
/** The stretch before the end that it is compared with, part of the range, and how much denser poses are at an end. */
const BEFORE = 0.24;
const DENSER = 2.5;
/**
 * An end is never surer than this part of the range: backlash, and hands that are never quite flat. Of simulated wearers the
 * outermost poses fell short by 0.6 % at the median, 1.6 % at the 95th percentile.
 */
const SUREST = 0.01;

/** Turning points at both sides, in order of time: [low side, high side]. @param range counts, robust */
export function visitsOf(levels: ArrayLike<number>, range: number): [Visit[], Visit[]] {
  const low: Visit[] = [];
  const high: Visit[] = [];
  const step = MOTION * range;
  let extreme = levels[0];
  let at = 0;
  // Before the first motion neither side is known.
  let rising: boolean | undefined;
  let lowest = levels[0];
  let highest = levels[0];
  for (let k = 1; k < levels.length; k++) {
    const y = levels[k];
    if (rising === undefined) {
      lowest = Math.min(lowest, y);
      highest = Math.max(highest, y);
      if (highest - lowest < step) continue;
      rising = y === highest;
      extreme = y;
      at = k;
    } else if (rising ? y >= extreme : y <= extreme) {
      extreme = y;
      at = k;
    } else if (Math.abs(y - extreme) >= step) {
      (rising ? high : low).push(stay(levels, at, extreme, range));
      rising = !rising;
      extreme = y;
      at = k;
    }
  }
  return [low, high];
}

/** The stay around a turning point. */
function stay(levels: ArrayLike<number>, at: number, extreme: number, range: number): Visit {
  const near = NEAR * range;
  let from = at;
  while (from > 0 && Math.abs(levels[from - 1] - extreme) <= near) from--;
  let to = at + 1;
  while (to < levels.length && Math.abs(levels[to] - extreme) <= near) to++;
  const rows = Math.round(HELD_S / ROW_S);
  if (to - from < rows) return { from, to, level: extreme, held: false };
  let stillest = Number.POSITIVE_INFINITY;
  let level = extreme;
  for (let k = from; k + rows <= to; k += rows >> 1) {
    let least = Number.POSITIVE_INFINITY;
    let most = Number.NEGATIVE_INFINITY;
    for (let j = k; j < k + rows; j++) {
      least = Math.min(least, levels[j]);
      most = Math.max(most, levels[j]);
    }
    if (most - least >= stillest) continue;
    stillest = most - least;
    level = median(Array.from({ length: rows }, (_, j) => levels[k + j]));
  }
  return { from, to, level, held: stillest <= STILL * range };
}

/**
 * The end that held poses bear out: people fall short of a pose but cannot go beyond it, so the outermost counts that
 * another one agrees with.
 * @param side 1: the high side, -1: the low side
 */
export function endAt(visits: readonly Visit[], side: 1 | -1, range: number): End | undefined {
  const held = visits.filter(({ held }) => held).sort((a, b) => side * (b.level - a.level));
  const first = held.findIndex(
    ({ level }, k) => k + 1 < held.length && Math.abs(level - held[k + 1].level) <= AGREE * range,
  );
  if (first < 0) return undefined;
  const outermost = held[first].level;
  const at = held.slice(first).filter(({ level }) => Math.abs(level - outermost) <= AT_END * range);
  const before = visits.filter(({ level }) => {
    const away = side * (outermost - level);
    return away > AT_END * range && away <= (AT_END + BEFORE) * range;
  }).length;
  const crowded = at.length >= (DENSER * before * AT_END) / BEFORE;
  // All fall short of the end, some of them by more: how far even the outermost does is seen from how far they scatter.
  const spread = at.reduce((sum, { level }) => sum + Math.abs(level - outermost), 0) / (at.length - 1);
  return {
    level: outermost,
    sd: Math.hypot(spread / Math.sqrt(at.length), SUREST * range),
    visits: at,
    crowded,
  };
}
