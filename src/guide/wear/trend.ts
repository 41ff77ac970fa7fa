import { median } from '../move-statistics.js';

/** One day's figure. */
export interface DatedValue {
  /** ms since 1970. */
  readonly atMs: number;
  readonly value: number;
}

/** A figure that has changed for good. */
export interface Change {
  readonly before: number;
  readonly after: number;
  /** From this day on, ms since 1970. */
  readonly sinceMs: number;
}

/** Days of each side of a change, at least; and all of them together, over how long. */
const EACH_SIDE = 3;
export const LEAST_DAYS = 6;
export const LEAST_SPAN_MS = 7 * 86_400_000;

/** Whether there is enough to speak of a trend. */
export const isEnough = (points: readonly DatedValue[]): boolean =>
  points.length >= LEAST_DAYS && points[points.length - 1].atMs - points[0].atMs >= LEAST_SPAN_MS;

/**
 * Where a series changed most, if what came later lies apart from what was before: the split that leaves the
 * least absolute deviation from the medians of its two parts, of which the later part overlaps the earlier with one day at most (a bad day is no change).
 * @param points by time
 */
export function changeOf(points: readonly DatedValue[]): Change | undefined {
  if (!isEnough(points)) return undefined;
  let best: (Change & { left: number }) | undefined;
  for (let k = EACH_SIDE; k <= points.length - EACH_SIDE; k++) {
    const [early, late] = [points.slice(0, k), points.slice(k)].map((part) => part.map(({ value }) => value));
    const [before, after] = [median(early), median(late)];
    const left = deviation(early, before) + deviation(late, after);
    if (best && left >= best.left) continue;
    if (!liesApart(early, late, after > before)) continue;
    best = { before, after, sinceMs: points[k].atMs, left };
  }
  return best && { before: best.before, after: best.after, sinceMs: best.sinceMs };
}

/** Sum of the absolute deviations. */
const deviation = (values: readonly number[], middle: number): number =>
  values.reduce((sum, x) => sum + Math.abs(x - middle), 0);

/** All but one later value, if there are many, are beyond all but one earlier one. */
function liesApart(early: readonly number[], late: readonly number[], rises: boolean): boolean {
  const sign = rises ? 1 : -1;
  const inner = (values: readonly number[], fromBelow: boolean) => {
    const sorted = values.map((x) => sign * x).sort((a, b) => (fromBelow ? a - b : b - a));
    return sorted[values.length > EACH_SIDE + 1 ? 1 : 0];
  };
  return inner(late, true) > inner(early, false);
}
