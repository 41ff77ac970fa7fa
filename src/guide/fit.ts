import type { ClosingProfile } from '../hand/closing.js';
import type { ChannelRole } from '../protocol/link-table.js';
import type { Channel } from '../sensing/channels.js';
import {
  CURVE_AT,
  type FittedRange,
  knownShape,
  rangeOf,
  rising,
  STRAIGHT,
  widestDeg,
} from './channel-shape.js';
import { barAt } from './guided-run.js';
import type { MoveRecord } from './move-record.js';
import { median, quantile, type Trace, traceOf } from './move-statistics.js';
import { isControl } from './moves.js';
import { type Ends, endsOf, NO_RANGE, posesOf, STRETCH_S, soundEnds, type Unfitted } from './pose-ends.js';

/**
 * Counts of this hand on this glove, from a recorded run of fitMoves.
 *
 * Ends are medians of poses that were held, several of each; the outermost that another one bears out counts, since
 * people fall short of a pose but cannot go beyond it. The shape in between comes from the move along the bar:
 * closing and opening are averaged, which takes out the wearer's delay and the string's friction, and the result is
 * trusted the more, the farther it is from what is known beforehand (a straight line, or the string's geometry).
 */
export interface FittedChannel extends FittedRange {
  readonly role: ChannelRole;
  /** Bits of the converter that the counts are of. */
  readonly bits: number;
  readonly centre?: number;
  /** Standard deviation of the repeated poses, degrees of the widest joint that the channel moves. */
  readonly residualDeg: number;
  /** Repeated poses that it is based on. */
  readonly poses: number;
}

export interface FitResult {
  readonly channels: readonly FittedChannel[];
  /** Root mean square over the channels, degrees. */
  readonly residualDeg: number;
  /** One line each. */
  readonly warnings: readonly string[];
  /** Why there is nothing to offer, when no channel could be fitted. */
  readonly refused?: string;
}

/** From this residual on, the wearer should fit again, degrees. */
const SLOPPY_DEG = 8;
/** How far people are off a bar that they follow, part of the range (common practice). */
const OFF_THE_BAR = 0.025;

export function fitChannels(
  record: MoveRecord,
  channels: readonly Channel[],
  closing: ClosingProfile,
): FitResult {
  const trace = traceOf(record, STRETCH_S);
  const fitted: FittedChannel[] = [];
  const warnings: string[] = [];
  let unheld = 0;
  for (const [i, channel] of channels.entries()) {
    if (channel.source < 0 || channel.kind === 'wrist' || channel.role === 'thumbRest') continue;
    const fit = fitOne(record, trace, channel, i, closing);
    if (fit === undefined) continue;
    if ('why' in fit) {
      warnings.push(fit.why);
      if (fit.unheld) unheld++;
    } else {
      fitted.push({ ...fit, bits: channel.profile.bits });
      if (fit.residualDeg > SLOPPY_DEG) {
        warnings.push(
          `${fit.role}: repeated poses differ by ${fit.residualDeg.toFixed(0)} degrees; fit again, holding each pose.`,
        );
      }
    }
  }
  if (unheld > fitted.length) {
    // What is left came from the same hurried run, by luck.
    return { channels: [], residualDeg: 0, warnings, refused: HURRIED };
  }
  if (fitted.length === 0) return { channels: [], residualDeg: 0, warnings, refused: NOTHING_MOVED };
  const judged = fitted.filter(({ poses }) => poses > 1);
  const residualDeg = Math.sqrt(
    judged.reduce((sum, fit) => sum + fit.residualDeg ** 2, 0) / Math.max(1, judged.length),
  );
  return { channels: fitted, residualDeg, warnings };
}

const HURRIED = 'The poses were not held, so open and closed cannot be told apart.';
const NOTHING_MOVED = 'No sensor moved.';

/** A fit, why there is none, or nothing when no move concerns the channel. */
function fitOne(
  record: MoveRecord,
  trace: Trace,
  channel: Channel,
  i: number,
  closing: ClosingProfile,
): Omit<FittedChannel, 'bits'> | Unfitted | undefined {
  const { role, kind, lookup } = channel;
  const full = lookup.maxCounts;
  if (isControl(channel)) {
    const unmoved = { why: `${role}: hardly moved, so it keeps the range it had; see \`tautline check\`.` };
    return fitControl(record, trace, channel, i) ?? unmoved;
  }
  if (kind === 'splay') {
    const found = endsOf(posesOf(record, trace, i, 'together'), posesOf(record, trace, i, 'spread'));
    const ends = soundEnds(role, found, full, trace.levels[i]);
    if ('why' in ends) return ends;
    const middle = median(posesOf(record, trace, i, 'open'));
    // The thumb has no line that it is straight in: halfway is the middle of its range.
    const inside = channel.finger > 0 && (middle - ends.open) * (middle - ends.closed) < 0;
    const rangeDeg = channel.finger === 0 ? 70 : 30;
    return {
      role,
      open: ends.open,
      closed: ends.closed,
      ...(inside ? { centre: middle } : {}),
      residualDeg: ends.spreadPart * rangeDeg,
      poses: ends.poses,
    };
  }
  const follow = followOf(record, trace, i);
  const found = endsOf(
    [...posesOf(record, trace, i, 'open'), ...(follow ? [follow.open] : [])],
    [...posesOf(record, trace, i, 'fist'), ...(follow ? [follow.closed] : [])],
  );
  const ends = soundEnds(role, found, full, trace.levels[i]);
  if ('why' in ends) return ends;
  const known = knownShape(channel, closing);
  const shape = follow ? shapeOf(follow, ends, known) : undefined;
  const residualDeg = ends.spreadPart * widestDeg(channel, closing);
  return { role, ...rangeOf(channel, closing, ends, shape), residualDeg, poses: ends.poses };
}

/** Levels while the bar closes and opens again. */
interface Follow {
  /** Level at each of CURVE_AT, the mean of both ways. */
  levels: number[];
  open: number;
  closed: number;
}

function followOf(record: MoveRecord, trace: Trace, i: number): Follow | undefined {
  const m = record.moves.findIndex(({ move }) => move.kind === 'follow');
  if (m < 0) return undefined;
  const from = trace.moveStart[m];
  const to = trace.moveStart[m + 1];
  if (to - from < 20) return undefined;
  const startS = record.timesS[record.moves[m].from];
  const bars = Float64Array.from({ length: to - from }, (_, k) => barAt(trace.timesS[from + k] - startS));
  const levels = trace.levels[i].subarray(from, to);
  const top = bars.indexOf(1);
  if (top < 0) return undefined;
  const stay = levels.filter((_, k) => bars[k] === 1);
  const way = (first: number, last: number) =>
    CURVE_AT.map((at) => {
      for (let k = first; k < last; k++) {
        const [a, b] = [bars[k], bars[k + 1]];
        if ((a - at) * (b - at) <= 0 && a !== b) {
          return levels[k] + ((at - a) / (b - a)) * (levels[k + 1] - levels[k]);
        }
      }
      return Number.NaN;
    });
  const closing = way(0, top);
  const opening = way(top, levels.length - 1);
  const both = closing.map((level, k) => (level + opening[k]) / 2);
  if (both.some(Number.isNaN)) return undefined;
  return {
    levels: both,
    open: median(levels.subarray(0, 5)),
    // The wearer is behind the bar: the end of the stay.
    closed: median(stay.subarray(stay.length >> 1)),
  };
}

/**
 * Counts at CURVE_AT as parts of the range, or nothing when they are as known. A difference d from the known shape
 * is believed to d^2 / (d^2 + s^2), s what people are off the bar.
 */
function shapeOf(follow: Follow, ends: Ends, known: (at: number) => number): number[] | undefined {
  const measured = follow.levels.map((level) => (level - ends.open) / (ends.closed - ends.open));
  const away = measured.map((x, k) => x - known(CURVE_AT[k]));
  const greatest = Math.sqrt(away.reduce((sum, d) => sum + d * d, 0) / away.length);
  const trust = greatest ** 2 / (greatest ** 2 + OFF_THE_BAR ** 2);
  if (greatest * trust < STRAIGHT) return undefined;
  return rising(away.map((d, k) => known(CURVE_AT[k]) + trust * d));
}

function fitControl(
  record: MoveRecord,
  trace: Trace,
  { role, kind, lookup, open, closed }: Channel,
  i: number,
): Omit<FittedChannel, 'bits'> | undefined {
  const m = record.moves.findIndex(({ move }) => move.name === 'controls');
  if (m < 0) return undefined;
  const levels = trace.levels[i];
  const during = levels.subarray(trace.moveStart[m], trace.moveStart[m + 1]);
  const rest = median(levels.subarray(0, Math.max(1, trace.moveStart[m])));
  const low = quantile(during, 0.01);
  const high = quantile(during, 0.99);
  if (high - low < NO_RANGE * lookup.maxCounts) return undefined;
  const rising = closed >= open;
  if (kind === 'stick') {
    const inside = rest > low && rest < high;
    // Which end is which cannot be seen from counts: the profile says it.
    return {
      role,
      open: rising ? low : high,
      closed: rising ? high : low,
      ...(inside ? { centre: rest } : {}),
      residualDeg: 0,
      poses: 1,
    };
  }
  const up = high - rest >= rest - low;
  return { role, open: rest, closed: up ? high : low, residualDeg: 0, poses: 1 };
}
