import type { CurlToTravel } from '../link/wire-stop.js';

/**
 * From places where a finger was stopped to the line through them. A place is payout: 0 wound up, 1 paid out. Pure.
 */
export interface StopPoint {
  at: number;
  /** Where the finger stood there, stopped. */
  curl: number;
}

/** Payout with the finger open, and closed. */
export interface StopLine {
  open: number;
  closed: number;
  /** Distance of the points from the line, rms, curl. */
  residual: number;
}

/** Longest way between the first two places, and between two that are sought from the outside in. */
export const STEP = 0.15;
/** Stops are wound up as if the whole finger took no less than this part of the wire; less is refused. */
const LEAST_RANGE = 0.2;
const MOST_RANGE = 2;
/** Nearest to open that a stop is meant to come, curl. */
const NEAREST = 0.2;
const AIM_DEEP = 0.3;
const AIM_SHALLOW = 0.8;
/** Longest way of a stop between two closings, of the wire. */
const LONGEST_STEP = 0.35;
const LEAST_SPAN = 0.2;
const LARGEST_RESIDUAL = 0.03;

/**
 * The second place: further out or further in, whichever is the longer way, and never to behind the finger.
 * @param fullAt most wound up place at which the finger closed fully
 */
export function secondFrom({ at, curl }: StopPoint, fullAt: number): number {
  const inwards = Math.min(STEP, (curl - NEAREST) * LEAST_RANGE);
  const outwards = Math.min(STEP, 1 - at, (fullAt - at) / 2);
  if (outwards > inwards && curl < (AIM_DEEP + AIM_SHALLOW) / 2) return at + outwards;
  return inwards >= STEP / 4 ? at - inwards : outwards > 0 ? at + outwards : Number.NaN;
}

/** The third: as far from the others as the line through them permits. NaN: they are no line. */
export function thirdFrom(a: StopPoint, b: StopPoint): number {
  const perCurl = (a.at - b.at) / (a.curl - b.curl);
  if (!(perCurl >= LEAST_RANGE / 2 && perCurl <= MOST_RANGE)) return Number.NaN;
  const deep = a.curl < b.curl ? a : b;
  const shallow = a.curl < b.curl ? b : a;
  const down = deep.curl - AIM_DEEP;
  const up = AIM_SHALLOW - shallow.curl;
  const next =
    down >= up
      ? deep.at - Math.min(LONGEST_STEP, perCurl * down)
      : shallow.at + Math.min(LONGEST_STEP, perCurl * up);
  return Math.min(1, Math.max(0, next));
}

/** Least squares of place over travel; undefined where it is implausible. Places at open and at closed. */
export function fitLine(
  points: readonly StopPoint[],
  travel: CurlToTravel = (curl) => curl,
): StopLine | undefined {
  const n = points.length;
  const xs = points.map(({ curl }) => travel(curl));
  const meanX = xs.reduce((sum, x) => sum + x, 0) / n;
  const meanY = points.reduce((sum, p) => sum + p.at, 0) / n;
  let xx = 0;
  let xy = 0;
  for (const [i, { at }] of points.entries()) {
    xx += (xs[i] - meanX) ** 2;
    xy += (xs[i] - meanX) * (at - meanY);
  }
  const slope = xy / xx;
  const curls = points.map(({ curl }) => curl);
  const span = Math.max(...curls) - Math.min(...curls);
  if (!(slope >= LEAST_RANGE && slope <= MOST_RANGE && span >= LEAST_SPAN)) return undefined;
  const open = meanY - slope * meanX;
  const squares = points.reduce((sum, { at }, i) => sum + ((at - open - slope * xs[i]) / slope) ** 2, 0);
  const residual = Math.sqrt(squares / n);
  return residual <= LARGEST_RESIDUAL ? { open, closed: open + slope, residual } : undefined;
}
