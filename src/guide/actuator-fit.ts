/**
 * Finds by use which wire stop just tautens each finger's string with the finger open (stopAtOpen) and closed
 * (stopAtClosed). Leads the wearer; asks for stops through the door in stop-probe.ts. Pure: time is passed in.
 *
 * Until it is done, it is unknown which wire stop is which curl, so "never behind the finger" cannot be judged.
 * What makes it safe all the same:
 *
 *   1. A stop moves only while its finger is measured open, slowly and at low effort. If the finger leaves open
 *      while the stop moves, or is drawn beyond where it was open, it is freed.
 *   2. The stop then stands still, and the wearer closes the finger gently until it is stopped. Where the curl
 *      stays (steady-curl.ts) is one point (wire, curl). Then the finger is freed, and opened by its wearer.
 *   3. It begins with the string paid out, and winds up by small steps, each of them bounded by what the last
 *      closing showed: no further than to where the finger would still be stopped well short of open.
 *   4. Three points give a line (stop-search.ts, stop-line.ts). What is implausible is refused, with a remedy: nothing is guessed.
 *   5. One finger at a time, all others free; every guard of the governor stands; disarming ends it.
 *
 * The first way that a stop goes from free, to the paid-out end, is the firmware's own and not slow. So which end
 * that is must be right in the profile beforehand (whether stopAtClosed is the greater), as for every other use.
 */
import { FINGERS, type Finger } from '../hand/joints.js';
import type { CurlToTravel } from '../link/wire-stop.js';
import { PROBE_EFFORT, PROBE_OPEN, payout } from '../resistance/stop-probe.js';
import { createSteadyCurl } from './steady-curl.js';
import { createStopSearch, type StopSearch } from './stop-search.js';

export interface StopToFit {
  /** Index into FINGERS. */
  finger: number;
  /** The string is paid out towards wire stop 1. */
  forward: boolean;
  /** String travel at a curl, where the string model is known; otherwise a straight line. */
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
  freed: 'It was freed repeatedly while its stop moved: keep it open and still; see `tautline check`.',
  implausible:
    'Its points do not lie on a line: the string rubs or slips, or something else stopped it. Try again.',
};

/** How long the finger must be open before a stop moves, s. */
const OPEN_S = 0.4;
/** A little longer than the probe allows the servo, s. */
const SETTLED_S = 0.35;
/** Less than this does not count as closing. */
const CLOSED_FROM = 0.14;
/** A finger that reads this far beyond its open position is being pulled. */
const DRAWN = 0.06;
const LONGEST_CLOSE_S = 8;
const LONGEST_OPEN_S = 20;
const ATTEMPTS = 4;
/** A busy computer or a weak radio frees the finger now and then (stale samples), so allow more tries. */
const FREED_ATTEMPTS = 8;
/** Prompts for a finger that goes well, for the count shown. */
const USUAL_PROMPTS = 12;

type Phase = 'arm' | 'open' | 'wind' | 'close' | 'done';

export interface ActuatorFit {
  /** What to ask of the probe now; finger -1: free. `target` is payout. */
  readonly finger: number;
  readonly target: number;
  readonly effort: number;
  readonly prompt: string;
  readonly phase: Phase;
  /** From 1; goes up with every prompt. */
  readonly number: number;
  readonly count: number;
  /** Of the present prompt, 0..1, as far as it can be estimated. */
  readonly part: number;
  readonly fitted: readonly FittedStop[];
  readonly unfitted: readonly UnfittedStop[];
  /**
   * @param curls per finger; below 0 where a finger reads beyond its open end
   * @param healthy per finger, 1: measured
   * @param probed payout at which the probe holds the finger; NaN: free
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
  const steady = createSteadyCurl();

  let phase: Phase = stops.length > 0 ? 'arm' : 'done';
  let prompt = 'Only this run may hold you: Enter arms the glove, at low effort.';
  let number = 1;
  let part = 0;
  let at = 0;
  let search: StopSearch = createStopSearch(undefined);
  let sinceS = Number.NaN;
  let heldSinceS = Number.NaN;
  let openSum = 0;
  let openSamples = 0;
  let openCurl = 0;
  let asking = false;
  /** The probe has taken up the present request. */
  let taken = false;
  let attempts = 0;
  let drawnTimes = 0;

  const name = () => FINGERS[stops[at].finger];
  const theFinger = () => (name() === 'thumb' ? 'the thumb' : `the ${name()} finger`);

  function enter(next: Phase, text: string, timeS: number): void {
    phase = next;
    part = 0;
    sinceS = timeS;
    heldSinceS = Number.NaN;
    steady.reset();
    openSum = 0;
    openSamples = 0;
    if (text === prompt) return;
    prompt = text;
    number++;
  }

  function askToOpen(timeS: number): void {
    asking = false;
    taken = false;
    enter('open', `Open ${theFinger()}, and keep it open.`, timeS);
  }

  function beginFinger(timeS: number): void {
    attempts = 0;
    drawnTimes = 0;
    if (at < stops.length) {
      search = createStopSearch(stops[at].travel);
      askToOpen(timeS);
    } else {
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

  function takePoint(curl: number, timeS: number): void {
    attempts = 0;
    const outcome = search.take(curl);
    if (outcome === 'more') {
      askToOpen(timeS);
      return;
    }
    if (typeof outcome === 'string') {
      giveUp(outcome, timeS);
      return;
    }
    const { line, points } = outcome;
    const { forward } = stops[at];
    fitted.push({
      role: name(),
      stopAtOpen: payout(forward, line.open),
      stopAtClosed: payout(forward, line.closed),
      residual: line.residual,
      points,
    });
    at++;
    beginFinger(timeS);
  }

  /** Until the finger has been open for OPEN_S. */
  function awaitOpen(timeS: number, curl: number, open: boolean): void {
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
  }

  /** While the stop moves to its place, the finger stays open. */
  function wind(timeS: number, curl: number, open: boolean, freed: boolean, probed: number): void {
    if (open && curl < openCurl - DRAWN) {
      asking = false;
      drawnTimes++;
      if (drawnTimes > 1) giveUp('drawn', timeS);
      else askToOpen(timeS);
    } else if (!open || freed || timeS - sinceS > LONGEST_CLOSE_S) tryAgain('freed', timeS);
    else if (probed === search.target) {
      if (Number.isNaN(heldSinceS)) heldSinceS = timeS;
      part = 1;
      if (timeS - heldSinceS < SETTLED_S) return;
      enter('close', `Close ${theFinger()} gently until it stops, and keep it there.`, timeS);
    }
  }

  /** The stop stands still; the finger closes on it, and comes to a stand. */
  function awaitStop(timeS: number, curl: number, sound: boolean, freed: boolean): void {
    if (!sound || freed) {
      tryAgain('freed', timeS);
      return;
    }
    const stopped = steady.take(timeS, curl);
    part = Math.min(1, Math.max(0, curl));
    if (stopped >= CLOSED_FROM) {
      asking = false;
      takePoint(stopped, timeS);
    } else if (timeS - sinceS > LONGEST_CLOSE_S) {
      // It never left open: the string is taut there, or the wearer did not try.
      tryAgain(curl < CLOSED_FROM ? 'taut' : 'notClosed', timeS);
    }
  }

  return {
    get finger() {
      return asking && at < stops.length ? stops[at].finger : -1;
    },
    get target() {
      return search.target;
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
      // A guard, or the door, has freed it.
      const freed = taken && Number.isNaN(probed);
      if (phase === 'open') awaitOpen(timeS, curl, open);
      else if (phase === 'wind') wind(timeS, curl, open, freed, probed);
      else awaitStop(timeS, curl, sound, freed);
    },
  };
}
