import type { ChannelRole } from '../protocol/link-table.js';
import type { MoveRecord } from './move-record.js';
import { MAD_TO_SD, median, numbered, quantile, type Trace } from './move-statistics.js';
import type { MoveName } from './moves.js';

/** The ends of a channel's range, from poses that were held several times, and whether they can be believed. */

/** Length of the stretches of the trace, s. */
export const STRETCH_S = 0.04;
/** Part of the converter below which there is nothing to fit. */
export const NO_RANGE = 0.03;
/** The end of a held pose. */
const HELD_S = 0.4;
/** A pose that is farther out than the next one by this part of the range is an outlier. */
const ALONE = 0.07;
/** A pose that the wearer skipped after less than this was not taken, s. */
const SHORTEST_POSE_S = 0.25;
/** From here on the poses of one end differ so much, part of the range, that there is no end to speak of. */
const NO_END = 0.2;

export interface Ends {
  open: number;
  closed: number;
  /** Standard deviation of repeated poses over the distance between the medians of both ends. */
  spreadPart: number;
  /** The same by medians, which one outlying pose leaves alone. */
  robustPart: number;
  /** Between the medians of both ends, counts. */
  spanCounts: number;
  poses: number;
}

/** Why a channel is not fitted. */
export interface Unfitted {
  why: string;
  /** Its poses were not held. */
  unheld?: boolean;
}

/** Ends that a fit can be built on, or why not. @param levels of the whole run */
export function soundEnds(
  role: ChannelRole,
  ends: Ends | undefined,
  full: number,
  levels: ArrayLike<number>,
): Ends | Unfitted {
  const keeps = 'so it keeps the range it had';
  // Poses of a sensor that never answers are waited for in vain: nobody was in a hurry.
  const hardlyMoved = quantile(levels, 0.98) - quantile(levels, 0.02) < NO_RANGE * full;
  if (!ends && !hardlyMoved) {
    return { why: `${role}: its poses were skipped, ${keeps}; fit again, holding each pose.`, unheld: true };
  }
  if (!ends || Math.abs(ends.closed - ends.open) < NO_RANGE * full) {
    return { why: `${role}: hardly moved, ${keeps}; see \`tautline check\`.` };
  }
  if (ends.spanCounts < NO_RANGE * full) {
    const why = 'reads the same at both ends as often as not';
    return { why: `${role}: ${why}, ${keeps}; fit again, holding each pose.`, unheld: true };
  }
  if (ends.robustPart > NO_END) {
    const part = Math.round(ends.robustPart * 100);
    const why = `the same pose reads differently each time, by ${part} % of the range`;
    return { why: `${role}: ${why}, ${keeps}; fit again, holding each pose.`, unheld: true };
  }
  return ends;
}

/** The medians of a pose, each time it was held. */
export function posesOf(record: MoveRecord, trace: Trace, i: number, name: MoveName): number[] {
  const poses: number[] = [];
  for (const [m, { move, made }] of numbered(record)) {
    const to = trace.moveStart[m + 1];
    const from = Math.max(trace.moveStart[m], to - Math.round(HELD_S / STRETCH_S));
    const held = to - from >= Math.round(SHORTEST_POSE_S / STRETCH_S);
    if (move.name === name && made && held) poses.push(median(trace.levels[i].subarray(from, to)));
  }
  return poses;
}

export function endsOf(opens: readonly number[], closeds: readonly number[]): Ends | undefined {
  if (opens.length === 0 || closeds.length === 0) return undefined;
  const middle = (median(opens) + median(closeds)) / 2;
  const direction = Math.sign(median(closeds) - median(opens)) || 1;
  const span = Math.max(1, Math.abs(median(closeds) - median(opens)));
  const open =
    middle -
    direction *
      outermost(
        opens.map((x) => (middle - x) * direction),
        span,
      );
  const closed =
    middle +
    direction *
      outermost(
        closeds.map((x) => (x - middle) * direction),
        span,
      );
  const spread = Math.hypot(deviation(opens), deviation(closeds)) / Math.SQRT2;
  const robust = Math.hypot(medianDeviation(opens), medianDeviation(closeds)) / Math.SQRT2;
  return {
    open,
    closed,
    spreadPart: spread / span,
    robustPart: robust / span,
    spanCounts: span,
    poses: opens.length + closeds.length,
  };
}

function medianDeviation(values: readonly number[]): number {
  const middle = median(values);
  return MAD_TO_SD * median(values.map((x) => Math.abs(x - middle)));
}

/** The farthest of values that another one bears out. */
function outermost(values: readonly number[], span: number): number {
  const sorted = [...values].sort((a, b) => b - a);
  for (let k = 0; k + 1 < sorted.length; k++) if (sorted[k] - sorted[k + 1] <= ALONE * span) return sorted[k];
  return sorted[sorted.length >> 1];
}

function deviation(values: readonly number[]): number {
  const mean = values.reduce((sum, x) => sum + x, 0) / values.length;
  return Math.sqrt(values.reduce((sum, x) => sum + (x - mean) ** 2, 0) / Math.max(1, values.length - 1));
}
