import { MAD_TO_SD, median } from '../move-statistics.js';
import { inverse3, times } from './three-unknowns.js';
import { ROW_S } from './use-record.js';

/**
 * How far a channel's middle is off, from the pace of its own motions.
 *
 * A finger that goes from one pose to another gathers and loses speed evenly: its course is near to that of least jerk,
 * p(t) = 10 t^3 - 15 t^4 + 6 t^5 (Flash & Hogan, J. Neuroscience 5(7), 1985). Whoever is quick first and careful then does
 * so closing and opening, so the two are averaged: what is left is the sensor, and what the wearer does differently one way
 than the other, with all fingers alike.
 */
export interface OwnPace {
  /** Ahead of a straight line in the middle of the range, part of the range. */
  readonly bow: number;
  /** One standard deviation of it. */
  readonly sd: number;
}

/** A motion goes at least so far, part of the range, and takes so long. */
const FAR = 0.4;
const SHORTEST_S = 0.2;
const LONGEST_S = 2;
const SLOW_PER_S = 0.08;
/** Motions each way without which nothing is said. */
const LEAST = 3;
/** Standard error of a median over that of a mean. */
const OF_MEDIAN = 1.2533;

/** Parts of the way, when a course of least jerk is there, and its speed then. */
const COURSE = Array.from({ length: 13 }, (_, k) => {
  const part = 0.08 + 0.07 * k;
  let low = 0;
  let high = 1;
  for (let n = 0; n < 50; n++) {
    const t = (low + high) / 2;
    if (t ** 3 * (10 - 15 * t + 6 * t * t) < part) low = t;
    else high = t;
  }
  return { part, at: low, speed: 30 * low ** 2 * (1 - low) ** 2 };
});

export function ownPaceOf(timesS: Float64Array, values: Float64Array): OwnPace | undefined {
  const closing: number[] = [];
  const opening: number[] = [];
  for (const [from, to] of motionsOf(timesS, values)) {
    const bow = bowOf(timesS, values, from, to);
    if (bow !== undefined) (values[to] > values[from] ? closing : opening).push(bow);
  }
  if (closing.length < LEAST || opening.length < LEAST) return undefined;
  const errorOf = (bows: readonly number[]): number => {
    const middle = median(bows);
    return (OF_MEDIAN * MAD_TO_SD * median(bows.map((x) => Math.abs(x - middle)))) / Math.sqrt(bows.length);
  };
  return {
    bow: (median(closing) + median(opening)) / 2,
    sd: Math.hypot(errorOf(closing) / 2, errorOf(opening) / 2),
  };
}

/** Motions in one direction, from a stand to a stand: [first row, last row]. */
function motionsOf(timesS: Float64Array, values: Float64Array): [number, number][] {
  const found: [number, number][] = [];
  let from = 0;
  let way = 0;
  for (let k = 2; k < values.length; k++) {
    const broken = timesS[k] - timesS[k - 1] > 2.5 * ROW_S;
    const speed = (values[k] - values[k - 2]) / (timesS[k] - timesS[k - 2]);
    const now = broken || Math.abs(speed) < SLOW_PER_S ? 0 : Math.sign(speed);
    if (now === way) continue;
    const lengthS = timesS[k - 1] - timesS[from];
    const far = Math.abs(values[k - 1] - values[from]) >= FAR;
    if (way !== 0 && !broken && far && lengthS >= SHORTEST_S && lengthS <= LONGEST_S)
      found.push([from, k - 1]);
    way = now;
    from = k - 2;
  }
  return found;
}

/** Least squares of the times at which it has gone each part of its way: when it began, how long it took, its bow. */
function bowOf(timesS: Float64Array, values: Float64Array, from: number, to: number): number | undefined {
  const first = values[from];
  const way = values[to] - first;
  const a = new Float64Array(9);
  const b = new Float64Array(3);
  let k = from;
  for (const { part, at, speed } of COURSE) {
    while (k < to && (values[k + 1] - first) / way < part) k++;
    if (k >= to) return undefined;
    const low = (values[k] - first) / way;
    const high = (values[k + 1] - first) / way;
    const t = timesS[k] + (timesS[k + 1] - timesS[k]) * Math.min(1, Math.max(0, (part - low) / (high - low)));
    const row = [1, at, (-4 * way * part * (1 - part)) / speed];
    const since = t - timesS[from];
    for (let r = 0; r < 3; r++) {
      // A slow passage says less of when, as much of where.
      b[r] += speed * speed * row[r] * since;
      for (let c = 0; c < 3; c++) a[3 * r + c] += speed * speed * row[r] * row[c];
    }
  }
  const inverse = inverse3(a);
  if (!inverse) return undefined;
  const [, tookS, bowS] = times(inverse, b);
  return tookS > 0 ? bowS / tookS : undefined;
}
