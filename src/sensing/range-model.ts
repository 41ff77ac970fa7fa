import { TautlineError } from '../errors.js';
import { monotoneCurve } from '../hand/monotone.js';

/** A function of raw counts. */
export type CountsFunction = (counts: number) => number;

/** How far a value runs on beyond its ends at most: today's hand opens a little wider than the fitted one. */
export const OVERSHOOT = 0.04;

/** Follows x from lowest to highest, bends smoothly beyond and never passes the ends by more than OVERSHOOT. */
export function softClamp(x: number, lowest = 0, highest = 1): number {
  if (x > highest) return highest + OVERSHOOT * (1 - Math.exp((highest - x) / OVERSHOOT));
  if (x < lowest) return lowest - OVERSHOOT * (1 - Math.exp((x - lowest) / OVERSHOOT));
  return x;
}

/**
 * Counts at both ends, optional points [counts, value] in between joined by PCHIP: 0 at open, 1 at closed.
 * Goes on straight beyond the ends.
 * @throws TautlineError `profileInvalid` when the points are not monotone or not between the ends
 */
export function rangeModel(
  role: string,
  open: number,
  closed: number,
  curve: readonly (readonly [number, number])[] = [],
): CountsFunction {
  if (open === closed) return () => 0;
  const direction = closed > open ? 1 : -1;
  const along = (counts: number) => (counts - open) * direction;
  const span = along(closed);
  const inner = curve
    .map(([counts, value]) => [along(counts), value] as const)
    .filter(([x]) => x !== 0 && x !== span)
    .sort((a, b) => a[0] - b[0]);
  const points = [[0, 0] as const, ...inner, [span, 1] as const];
  for (let i = 1; i < points.length; i++) {
    if (!(points[i][0] > points[i - 1][0]) || !(points[i][1] >= points[i - 1][1])) {
      throw new TautlineError(
        'profileInvalid',
        `The curve of channel ${role} does not rise from open (${open}) to closed (${closed}).`,
        'Order its points so that curl only rises from open to closed, or fit the channel again.',
      );
    }
  }
  const shape = monotoneCurve(
    points.map(([x]) => x),
    points.map(([, y]) => y),
  );
  return (counts) => {
    const x = along(counts);
    if (x < 0) return x / span;
    if (x > span) return 1 + (x - span) / span;
    return shape(x);
  };
}

/** A channel with a middle (stick, splay): -1 at open, 0 at the centre, 1 at closed; straight in between. */
export function centredModel(open: number, closed: number, centre = (open + closed) / 2): CountsFunction {
  if (open === closed) return () => 0;
  const inside = (centre - open) * (centre - closed) < 0;
  const middle = inside ? centre : (open + closed) / 2;
  const direction = closed > open ? 1 : -1;
  return (counts) => {
    const from = (counts - middle) * direction;
    return from / Math.abs((from < 0 ? open : closed) - middle);
  };
}
