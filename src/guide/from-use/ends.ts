import type { End } from './visits.js';

/** The ends of a range, from what was seen of them and from those of a fit in use. All in counts. */
export interface Ends {
  readonly open: number;
  readonly closed: number;
  /** One standard deviation. */
  readonly openSd: number;
  readonly closedSd: number;
}

/** What an end is beyond, or short of, that of a fit by chance, part of the range: one standard deviation of simulated wearers. */
const BEYOND = 0.006;
const SHORT = 0.012;
/** What a range that slips, or whose string stretches, is longer or shorter by, part of it: common practice. */
const STRETCH = 0.01;

/**
 * What slips moves both ends alike: where one of them was seen beyond that of the fit, it says where the other has gone, too,
 * even if no pose went quite as far. Each end is weighed against where the other one says that it is.
 * @param inUse ends of the fit in use, open and closed; undefined: there is none
 */
export function endsOf(open: End, closed: End, inUse: readonly [number, number] | undefined): Ends {
  if (!inUse) return { open: open.level, closed: closed.level, openSd: open.sd, closedSd: closed.sd };
  const [openInUse, closedInUse] = inUse;
  const span = closed.level - open.level;
  const openShift = shiftOf(open, openInUse, Math.sign(-span), span);
  const closedShift = shiftOf(closed, closedInUse, Math.sign(span), span);
  const first = weighed(openShift, closedShift, span);
  const last = weighed(closedShift, openShift, span);
  return {
    open: openInUse + first.by,
    closed: closedInUse + last.by,
    openSd: first.sd,
    closedSd: last.sd,
  };
}

/** How far the ends are from those in use, in standard deviations of what chance does if those are right. */
export function beyondChanceOf(
  open: End,
  closed: End,
  [openInUse, closedInUse]: readonly [number, number],
): number {
  const span = closed.level - open.level;
  const first = shiftOf(open, openInUse, Math.sign(-span), span);
  const last = shiftOf(closed, closedInUse, Math.sign(span), span);
  return Math.hypot(first.by / first.sd, last.by / last.sd);
}

interface Shift {
  /** Counts, signed. */
  readonly by: number;
  readonly sd: number;
}

/**
 * A finger cannot go beyond its end, but all too easily falls short of it: an end beyond the one in use says much, one
 * short of it little.
 * @param outward sign of the counts that lie beyond
 */
function shiftOf({ level, sd }: End, inUse: number, outward: number, span: number): Shift {
  const by = level - inUse;
  const range = Math.abs(span);
  return { by, sd: outward * by > 0 ? BEYOND * range : Math.hypot(sd, SHORT * range) };
}

function weighed(own: Shift, other: Shift, span: number): Shift {
  const otherSd = Math.hypot(other.sd, STRETCH * span);
  const weight = otherSd ** 2 / (otherSd ** 2 + own.sd ** 2);
  return { by: weight * own.by + (1 - weight) * other.by, sd: Math.sqrt(weight) * own.sd };
}
