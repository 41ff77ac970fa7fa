import type { CurlToTravel } from '../link/wire-stop.js';
import { fitLine, STEP, type StopLine, type StopPoint, secondFrom, thirdFrom } from './stop-line.js';

/** From here on a finger is closed, and nothing stopped it. */
const FULL = 0.93;
const POINTS = 3;
const MOST_CLOSINGS = 20;

/** What one closing of the finger has led to: another place to try, the line that was sought, or why there is none. */
export type SearchOutcome = 'more' | 'neverStopped' | 'implausible' | { line: StopLine; points: number };

/**
 * Seeks three places where the stop of one finger holds it, from the paid-out end inwards: each place is bounded by
 * what the closing before it showed. Points that cannot be a line are measured once more. Pure.
 */
export interface StopSearch {
  /** Where the stop is to stand next, payout. */
  readonly target: number;
  /** The finger closed on it, and came to a stand at this curl. */
  take(curl: number): SearchOutcome;
}

/** @param travel string travel at a curl, where the string model is known; else a straight line */
export function createStopSearch(travel: CurlToTravel | undefined): StopSearch {
  let target = 1;
  let points: StopPoint[] = [];
  /** Which point is measured again; -1: a first one. */
  let again = -1;
  /** Every place has been measured twice. */
  let repeated = false;
  let closings = 0;
  /** Most wound up place at which the finger closed fully. */
  let fullAt = 1 + STEP;

  const tryAt = (place: number): 'more' => {
    target = place;
    return 'more';
  };

  /** Once more, every place, from the most paid out on. */
  function repeatAll(): SearchOutcome {
    if (repeated) return 'implausible';
    repeated = true;
    points.sort((a, b) => b.at - a.at);
    again = 0;
    return tryAt(points[0].at);
  }

  function conclude(): SearchOutcome {
    again = -1;
    if (points.length < POINTS) {
      const next = thirdFrom(points[0], points[1]);
      return Number.isNaN(next) ? repeatAll() : tryAt(next);
    }
    const line = fitLine(points, travel);
    return line ? { line, points: points.length } : repeatAll();
  }

  function takeAgain(curl: number): SearchOutcome {
    // Who stopped short of the stop before may not have now; nobody gets past it.
    points[again].curl = Math.max(points[again].curl, curl);
    again++;
    return again < points.length ? tryAt(points[again].at) : conclude();
  }

  /** Not stopped here. If it was before, further out, that was the wearer. */
  function takeFull(): SearchOutcome {
    fullAt = Math.min(fullAt, target);
    points = points.filter((point) => point.at < fullAt);
    if (points.length > 0) return tryAt((fullAt + points[points.length - 1].at) / 2);
    return target > STEP ? tryAt(target - STEP) : 'neverStopped';
  }

  return {
    get target() {
      return target;
    },
    take(curl) {
      closings++;
      if (closings > MOST_CLOSINGS) return 'implausible';
      if (again >= 0) return takeAgain(curl);
      if (curl >= FULL) return takeFull();
      points.push({ at: target, curl });
      if (points.length === POINTS) return conclude();
      const next = points.length === 1 ? secondFrom(points[0], fullAt) : thirdFrom(points[0], points[1]);
      return Number.isNaN(next) ? repeatAll() : tryAt(next);
    },
  };
}
