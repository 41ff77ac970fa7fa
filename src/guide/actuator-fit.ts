/**
 * Finds by use which wire stop just tautens each finger's string with the finger open (stopAtOpen) and closed
 * (stopAtClosed). Leads the wearer; asks for stops through the door in stop-probe.ts. Pure: time is passed in.
 *
 * Until it is done, nobody knows which wire stop is which curl, so "never behind the finger" cannot be judged.
 * What makes it safe all the same:
 *
 *   1. A stop moves only while its finger is measured open, slowly and at low effort. If the finger leaves open
 *      while the stop moves, or is drawn beyond where it was open, it is freed.
 *   2. The stop then stands still, and the wearer closes the finger gently until it is stopped. Where the curl
 *      stays for STEADY_S is one point (wire, curl). Then the finger is freed, and opened by its wearer.
 *   3. It begins with the string paid out, and winds up by small steps, each of them bounded by what the last
 *      closing showed: no further than to where the finger would still be stopped well short of open.
 *   4. Three points give a line. What is implausible is refused, with a remedy: nothing is guessed.
 *   5. One finger at a time, all others free; every guard of the governor stands; disarming ends it.
 *
 * The first way that a stop goes from free, to the paid-out end, is the firmware's own and not slow. So which end
 * that is must be right in the profile beforehand (whether stopAtClosed is the greater), as for every other use.
 */
import { FINGERS, type Finger } from '../hand/joints.js';
import type { CurlToTravel } from '../link/wire-stop.js';
import { PROBE_EFFORT, PROBE_OPEN, payout } from '../resistance/stop-probe.js';

export interface StopToFit {
  /** Index into FINGERS. */
  finger: number;
  /** The string is paid out towards wire stop 1. */
  forward: boolean;
  /** String travel at a curl, where the string model is known; else a straight line. */
  travel?: CurlToTravel;
}

export interface FittedStop {
  role: Finger;
  /** Of the wire range; beyond 0..1 where the wire does not reach. */
  stopAtOpen: number;
  stopAtClosed: number;
  /** Distance of the points from the line, rms, curl. */
  residual: number;
  points: number;
}

export type StopTrouble =
  | 'notOpened'
  | 'notClosed'
  | 'neverStopped'
  | 'taut'
  | 'drawn'
  | 'freed'
  | 'implausible';

export interface UnfittedStop {
  role: Finger;
  trouble: StopTrouble;
  /** What to do. */
  remedy: string;
}

const REMEDIES: Record<StopTrouble, string> = {
  notOpened: 'Its sensor never read open: run `tautline fit` first, then this again.',
  notClosed: 'It was not held still against its stop: close it gently, and keep it there.',
  neverStopped: 'It closes fully: hook the string in, shorten it, or look at the servo and its plug.',
  taut: 'Its string is taut even when paid out: lengthen it, or swap stopAtOpen and stopAtClosed.',
  drawn: 'Its string drew it beyond open: swap stopAtOpen and stopAtClosed in the profile, or lengthen it.',
  freed: 'It was freed time and again while its stop moved: keep it open and still; see `tautline check`.',
  implausible: 'Its points are no line: the string rubs or slips, or it was stopped before its stop. Again.',
};

/** Open for so long before a stop moves, s. */
const OPEN_S = 0.4;
/** Longer than people pause on the way, as common practice has it. */
const STEADY_S = 0.9;
/** Curl is steady within this, from its 5th to its 95th percentile. */
const STEADY = 0.02;
/** Less than this is no closing. */
const CLOSED_FROM = 0.14;
/** From here on a finger is closed, and nothing stopped it. */
const FULL = 0.93;
/** A finger that reads this far beyond where it was open is being drawn. */
const DRAWN = 0.06;
const LONGEST_CLOSE_S = 8;
const LONGEST_OPEN_S = 20;
const ATTEMPTS = 4;
/** A busy computer or a weak radio frees now and then (stale samples): more patience. */
const FREED_ATTEMPTS = 8;
const STEP = 0.15;
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
const POINTS = 3;
const MOST_CLOSINGS = 20;
/** Prompts of a finger that goes well: for the count that is shown. */
const USUAL_PROMPTS = 12;
const RING = 320;
const SAMPLE_S = 0.004;
const JUDGE_S = 0.05;

interface Point {
  at: number;
  curl: number;
}

type Phase = 'arm' | 'open' | 'wind' | 'close' | 'done';

export interface ActuatorFit {
  /** What to ask of the door now; finger -1: free. `target` is payout. */
  readonly finger: number;
  readonly target: number;
  readonly effort: number;
  readonly prompt: string;
  readonly phase: Phase;
  /** From 1; goes up with every prompt. */
  readonly number: number;
  readonly count: number;
  /** Of the present prompt, 0..1, as far as it can be seen. */
  readonly part: number;
  readonly fitted: readonly FittedStop[];
  readonly unfitted: readonly UnfittedStop[];
  /**
   * @param curls per finger; below 0 where a finger reads beyond its open end
   * @param healthy per finger, 1: measured
   * @param probed payout that the door holds the finger at; NaN: free
   */
  step(
    timeS: number,
    curls: ArrayLike<number>,
    healthy: ArrayLike<number>,
    armed: boolean,
    probed: number,
  ): void;
}

export function createActuatorFit(stops: readonly StopToFit[]): ActuatorFit {
  const fitted: FittedStop[] = [];
  const unfitted: UnfittedStop[] = [];
  const times = new Float64Array(RING);
  const values = new Float64Array(RING);
  let kept = 0;
  let judgedS = Number.NEGATIVE_INFINITY;

  let phase: Phase = stops.length > 0 ? 'arm' : 'done';
  let prompt = 'Nothing may hold you but this: Enter arms the glove, at low effort.';
  let number = 1;
  let part = 0;
  let at = 0;
  let sinceS = Number.NaN;
  let heldSinceS = Number.NaN;
  let openSum = 0;
  let openSamples = 0;
  let openCurl = 0;
  let target = 1;
  let asking = false;
  /** The door has taken the present request up. */
  let taken = false;
  let attempts = 0;
  let drawnTimes = 0;
  let points: Point[] = [];
  /** Which point is measured anew; -1: a first one. */
  let again = -1;
  /** Every place has been measured twice. */
  let repeated = false;
  let closings = 0;
  /** Most wound up place at which the finger closed fully. */
  let fullAt = 1 + STEP;

  const name = () => FINGERS[stops[at].finger];

  function enter(next: Phase, text: string, timeS: number): void {
    phase = next;
    part = 0;
    sinceS = timeS;
    heldSinceS = Number.NaN;
    kept = 0;
    openSum = 0;
    openSamples = 0;
    if (text === prompt) return;
    prompt = text;
    number++;
  }

  function askToOpen(timeS: number): void {
    asking = false;
    taken = false;
    enter('open', `Open the ${name()} finger, and keep it open.`.replace('thumb finger', 'thumb'), timeS);
  }

  function beginFinger(timeS: number): void {
    target = 1;
    attempts = 0;
    drawnTimes = 0;
    points = [];
    again = -1;
    repeated = false;
    closings = 0;
    fullAt = 1 + STEP;
    if (at < stops.length) askToOpen(timeS);
    else {
      asking = false;
      phase = 'done';
      part = 1;
    }
  }

  function giveUp(trouble: StopTrouble, timeS: number): void {
    unfitted.push({ role: name(), trouble, remedy: REMEDIES[trouble] });
    at++;
    beginFinger(timeS);
  }

  function tryAgain(trouble: StopTrouble, timeS: number): void {
    attempts++;
    if (attempts >= (trouble === 'freed' ? FREED_ATTEMPTS : ATTEMPTS)) giveUp(trouble, timeS);
    else askToOpen(timeS);
  }

  /** Where the finger stands, once it has stood for STEADY_S; else NaN. */
  function steady(timeS: number, curl: number): number {
    const last = (kept - 1) % RING;
    if (kept > 0 && timeS - times[last] < SAMPLE_S) return Number.NaN;
    times[kept % RING] = timeS;
    values[kept % RING] = curl;
    kept++;
    if (timeS - judgedS < JUDGE_S && timeS >= judgedS) return Number.NaN;
    judgedS = timeS;
    const window: number[] = [];
    let covered = false;
    for (let i = kept - 1; i >= 0 && i > kept - RING; i--) {
      if (timeS - times[i % RING] > STEADY_S) {
        covered = true;
        break;
      }
      window.push(values[i % RING]);
    }
    if (!covered || window.length < 8) return Number.NaN;
    window.sort((a, b) => a - b);
    const of = (share: number) => window[Math.round(share * (window.length - 1))];
    return of(0.95) - of(0.05) <= STEADY ? of(0.5) : Number.NaN;
  }

  function takePoint(curl: number, timeS: number): void {
    attempts = 0;
    closings++;
    if (closings > MOST_CLOSINGS) {
      giveUp('implausible', timeS);
      return;
    }
    if (again >= 0) {
      // Who stopped short of the stop before may not have now; nobody gets past it.
      points[again].curl = Math.max(points[again].curl, curl);
      again++;
      if (again < points.length) target = points[again].at;
      else {
        conclude(timeS);
        return;
      }
    } else if (curl >= FULL) {
      // Not stopped here. If it was before, further out, that was the wearer.
      fullAt = Math.min(fullAt, target);
      points = points.filter((point) => point.at < fullAt);
      if (points.length > 0) target = (fullAt + points[points.length - 1].at) / 2;
      else if (target > STEP) target -= STEP;
      else {
        giveUp('neverStopped', timeS);
        return;
      }
    } else {
      points.push({ at: target, curl });
      if (points.length === POINTS) {
        conclude(timeS);
        return;
      }
      const next = points.length === 1 ? secondFrom(points[0], fullAt) : thirdFrom(points[0], points[1]);
      if (Number.isNaN(next)) {
        repeatAll(timeS);
        return;
      }
      target = next;
    }
    askToOpen(timeS);
  }

  /** Points that cannot be a line: every place once more, from the most paid out on. */
  function repeatAll(timeS: number): void {
    if (repeated) {
      giveUp('implausible', timeS);
      return;
    }
    repeated = true;
    points.sort((a, b) => b.at - a.at);
    again = 0;
    target = points[0].at;
    askToOpen(timeS);
  }

  function conclude(timeS: number): void {
    again = -1;
    if (points.length < POINTS) {
      const next = thirdFrom(points[0], points[1]);
      if (Number.isNaN(next)) {
        repeatAll(timeS);
        return;
      }
      target = next;
      askToOpen(timeS);
      return;
    }
    const { forward, travel } = stops[at];
    const line = fitLine(points, travel);
    if (!line) {
      repeatAll(timeS);
      return;
    }
    fitted.push({
      role: name(),
      stopAtOpen: payout(forward, line.open),
      stopAtClosed: payout(forward, line.closed),
      residual: line.residual,
      points: points.length,
    });
    at++;
    beginFinger(timeS);
  }

  return {
    get finger() {
      return asking && at < stops.length ? stops[at].finger : -1;
    },
    get target() {
      return target;
    },
    get effort() {
      return asking ? PROBE_EFFORT : 0;
    },
    get prompt() {
      return prompt;
    },
    get phase() {
      return phase;
    },
    get number() {
      return number;
    },
    get count() {
      return Math.max(number, 1 + stops.length * USUAL_PROMPTS);
    },
    get part() {
      return part;
    },
    fitted,
    unfitted,
    step(timeS, curls, healthy, armed, probed) {
      if (phase === 'done') return;
      if (!armed) {
        asking = false;
        taken = false;
        return;
      }
      if (phase === 'arm') {
        beginFinger(timeS);
        return;
      }
      const { finger } = stops[at];
      const curl = curls[finger];
      const sound = healthy[finger] === 1 && Number.isFinite(curl);
      const open = sound && curl < PROBE_OPEN;
      if (Number.isFinite(probed)) taken = true;
      if (phase === 'open') {
        if (!open) {
          heldSinceS = Number.NaN;
          openSum = 0;
          openSamples = 0;
          part = 0;
          if (timeS - sinceS > LONGEST_OPEN_S) giveUp('notOpened', timeS);
          return;
        }
        if (Number.isNaN(heldSinceS)) heldSinceS = timeS;
        openSum += curl;
        openSamples++;
        part = Math.min(1, (timeS - heldSinceS) / OPEN_S);
        if (part < 1) return;
        openCurl = openSum / openSamples;
        phase = 'wind';
        part = 0;
        sinceS = timeS;
        heldSinceS = Number.NaN;
        asking = true;
        return;
      }
      // A guard, or the door, has freed it.
      const freed = taken && Number.isNaN(probed);
      if (phase === 'wind') {
        if (open && curl < openCurl - DRAWN) {
          asking = false;
          drawnTimes++;
          if (drawnTimes > 1) giveUp('drawn', timeS);
          else askToOpen(timeS);
        } else if (!open || freed || timeS - sinceS > LONGEST_CLOSE_S) tryAgain('freed', timeS);
        else if (probed === target) {
          if (Number.isNaN(heldSinceS)) heldSinceS = timeS;
          part = 1;
          if (timeS - heldSinceS < SETTLED_S) return;
          const whom = `the ${name()} finger`.replace('thumb finger', 'thumb');
          enter('close', `Close ${whom} gently until it stops, and keep it there.`, timeS);
        }
        return;
      }
      if (!sound || freed) {
        tryAgain('freed', timeS);
        return;
      }
      const stopped = steady(timeS, curl);
      part = Math.min(1, Math.max(0, curl));
      if (stopped >= CLOSED_FROM) {
        asking = false;
        takePoint(stopped, timeS);
        return;
      }
      if (timeS - sinceS <= LONGEST_CLOSE_S) return;
      // It never left open: the string is taut there, or the wearer did not try.
      tryAgain(curl < CLOSED_FROM ? 'taut' : 'notClosed', timeS);
    },
  };
}

/** A little longer than the door takes its servo to need, s. */
const SETTLED_S = 0.35;

/** The second place: further out or further in, whichever is the longer way, and never to behind the finger. */
function secondFrom({ at, curl }: Point, fullAt: number): number {
  const inwards = Math.min(STEP, (curl - NEAREST) * LEAST_RANGE);
  const outwards = Math.min(STEP, 1 - at, (fullAt - at) / 2);
  if (outwards > inwards && curl < (AIM_DEEP + AIM_SHALLOW) / 2) return at + outwards;
  return inwards >= STEP / 4 ? at - inwards : outwards > 0 ? at + outwards : Number.NaN;
}

/** The third: as far from the others as the line through them permits. NaN: they are no line. */
function thirdFrom(a: Point, b: Point): number {
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
function fitLine(
  points: readonly Point[],
  travel: CurlToTravel = (curl) => curl,
): { open: number; closed: number; residual: number } | undefined {
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
