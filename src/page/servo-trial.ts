import { createServoPace } from './servo-pace.js';

/** What a trial shows of one servo. */
export type ServoResult =
  | 'moves'
  | 'offPlace'
  | 'doesNotMove'
  | 'wrongWay'
  | 'tooSlow'
  | 'wrongChannel'
  | 'stuck'
  | 'letGo'
  | 'notTried';

/** Where the trial is: what the wearer is asked, and where the stop is to be; undefined: the finger is to be free. */
export interface TrialState {
  phase:
    | 'straighten'
    | 'closeFree'
    | 'straightenAgain'
    | 'keepStraight'
    | 'closeHeld'
    | 'payOut'
    | 'straightenAll'
    | 'keepAllStraight'
    | 'closeOthers'
    | 'done';
  stopAt: number | undefined;
  result: ServoResult | undefined;
  /** Curl that the finger reached when free, and against the stop; NaN while not known. */
  freeCurl: number;
  heldCurl: number;
  /** How fast the finger was let go on, curl/s, the fastest seen; NaN: not seen. */
  outPerS: number;
  /** The finger that was stopped in place of this one; -1: none. */
  instead: number;
}

/** Where the finger is stopped: not far, and with half of its way left to tell a servo that does nothing. */
export const STOP_AT = 0.35;
/** And where once more, if it rested elsewhere: a servo whose ends are exchanged stops it too soon there. */
const STOP_FAR = 0.65;
/** As far as a finger may be off its stop: strings stretch, and a servo lags (common practice). */
const NEAR = 0.12;
const STRAIGHT = 0.2;
const CLOSED = 0.75;
const REST_S = 1;
const BRIEFLY_S = 0.4;
/** Within it a finger that rests moves by less. */
const STILL = 0.03;
/** A wearer who does nothing for so long is not asked any more. */
const WAIT_S = 25;
/** A finger that stops short of closed, and stays there for so long, does not go further. */
const GIVE_UP_S = 6;
/** A stop is where it was asked for, curl. */
const SET = 0.03;
/** A servo has gone there by then, or a slow one nearly: a finger that outruns it would be stopped late. */
const SERVO_S = 0.8;
/** So often is it tried again when the service lets the finger go meanwhile: samples were late, say. */
const TRIES = 3;
/**
 * Part of the profile's speed below which a servo is too slow. A finger that pulls helps it along, so that a sound one is
 * rather faster than its data sheet (the physical model: 1.4 times). Common practice.
 */
const SLOW = 0.6;

export interface ServoTrialOptions {
  /** Of the profile, curl/s; undefined: no pace is judged. */
  speedCurlPerS?: number | undefined;
  /** This finger, and the fingers that have a servo: one of those may be stopped in its place. */
  finger: number;
  servos: readonly number[];
}

/**
 * Tries one servo: the finger closes freely, then against a stop, which then lets it go on. Pure: time comes in with each
 * step.
 *
 * A servo that is mounted the wrong way holds the finger when it should let go; one whose ends are exchanged in the
 * profile lets go, but stops the finger as far from the closed end as it should from the open one. Where nothing stops the
 * finger, the others are closed against its stop: one that is stopped has the plug of this one.
 */
export interface ServoTrial {
  readonly state: TrialState;
  /**
   * @param curls of the fingers, 0..1; undefined: not known now
   * @param stop where the service reports the finger's stop to be; undefined: the finger is free
   */
  step(timeS: number, curls: readonly (number | undefined)[], stop: number | undefined): void;
}

export function createServoTrial({ speedCurlPerS, finger, servos }: ServoTrialOptions): ServoTrial {
  const state: TrialState = {
    phase: 'straighten',
    stopAt: undefined,
    result: undefined,
    freeCurl: Number.NaN,
    heldCurl: Number.NaN,
    outPerS: Number.NaN,
    instead: -1,
  };
  const others = servos.filter((one) => one !== finger);
  const rest = new Map(servos.concat(finger).map((one) => [one, { at: Number.NaN, sinceS: Number.NaN }]));
  let target = STOP_AT;
  let beganS = Number.NaN;
  /** Since when the stop has been where it is to be. */
  let setS = Number.NaN;
  let most = 0;
  let tries = 0;
  const pace = createServoPace();

  function enter(phase: TrialState['phase']): void {
    state.phase = phase;
    state.stopAt = STOP_OF[phase] === 'none' ? undefined : STOP_OF[phase] === 'far' ? STOP_FAR : target;
    beganS = setS = Number.NaN;
    for (const one of rest.values()) one.at = Number.NaN;
    most = 0;
  }
  function end(result: ServoResult): void {
    enter('done');
    state.result = result;
  }
  /** Again, if it was not too often; what the finger does now says nothing of its servo. */
  function again(phase: TrialState['phase'], otherwise: ServoResult): void {
    if (++tries < TRIES) enter(phase);
    else end(otherwise);
  }

  function straighten(restS: number, curl: number, waitS: number, next: TrialState['phase']): void {
    if (curl < STRAIGHT && restS >= BRIEFLY_S) enter(next);
    else if (waitS > WAIT_S) end('notTried');
  }

  function closeFree(restS: number, curl: number, waitS: number): void {
    const closed = curl >= CLOSED && restS >= BRIEFLY_S;
    const stopped = curl > STRAIGHT / 2 && restS >= GIVE_UP_S;
    // One that never moves may be held open: what it does against a stop tells.
    if (!closed && !stopped && waitS <= WAIT_S / 2) return;
    state.freeCurl = most;
    enter('straightenAgain');
  }

  function keepStraight(timeS: number, curl: number, waitS: number, stop: number | undefined): void {
    const seeking = state.phase === 'keepAllStraight';
    if (curl > STRAIGHT + NEAR) enter(seeking ? 'straightenAll' : 'straightenAgain');
    else if (stop === undefined || Math.abs(stop - target) > SET) {
      setS = Number.NaN;
      if (waitS > WAIT_S) end('letGo');
    } else if (Number.isNaN(setS)) setS = timeS;
    else if (timeS - setS >= SERVO_S) enter(seeking ? 'closeOthers' : 'closeHeld');
  }

  function closeHeld(
    timeS: number,
    restS: number,
    curl: number,
    waitS: number,
    stop: number | undefined,
  ): void {
    if (stop === undefined) {
      again('straightenAgain', 'letGo');
      return;
    }
    const isFree = state.freeCurl >= CLOSED;
    const passed = curl >= CLOSED && restS >= BRIEFLY_S;
    // One that stops far too early may also be a wearer who has not begun.
    const early = curl > STRAIGHT / 2 && restS >= GIVE_UP_S;
    const rests = early || (curl > STOP_AT - NEAR && restS >= REST_S);
    if (!rests && !passed && waitS <= WAIT_S) return;
    if (target === STOP_AT || !rests) state.heldCurl = most;
    if (!rests && !passed) end(isFree ? 'notTried' : 'stuck');
    else if (!isFree) end(most > state.freeCurl + NEAR ? 'wrongWay' : 'stuck');
    else if (passed && !(target === STOP_FAR && Math.abs(curl - STOP_FAR) <= NEAR)) {
      if (target !== STOP_AT) end('offPlace');
      else if (others.length > 0) enter('straightenAll');
      else end('doesNotMove');
    } else if (target === STOP_AT && curl > STOP_AT + NEAR) {
      target = STOP_FAR;
      enter('straightenAgain');
    } else if (target === STOP_FAR && curl < STOP_FAR - NEAR) end('wrongWay');
    else if (target !== STOP_AT || curl <= STOP_AT - NEAR) end('offPlace');
    else if (speedCurlPerS === undefined) end('moves');
    else {
      pace.begin(timeS, curl, STOP_FAR);
      enter('payOut');
    }
  }

  function payOut(timeS: number, restS: number, curl: number, waitS: number, stop: number | undefined): void {
    pace.take(timeS, curl);
    const there = curl > STOP_FAR - NEAR && restS >= BRIEFLY_S;
    if (!there && waitS <= GIVE_UP_S && stop !== undefined) return;
    // Who presses less is slower than the servo: the fastest counts.
    if (there && !(pace.perS <= state.outPerS)) state.outPerS = pace.perS;
    if (speedCurlPerS === undefined || state.outPerS >= SLOW * speedCurlPerS) end('moves');
    else again('straightenAgain', state.outPerS > 0 ? 'tooSlow' : 'moves');
  }

  function straightenAll(timeS: number, waitS: number): void {
    const straight = (one: number) => still(one).at < STRAIGHT && timeS - still(one).sinceS >= BRIEFLY_S;
    if ([finger, ...others.filter((one) => !Number.isNaN(still(one).at))].every(straight))
      enter('keepAllStraight');
    // What was found is found, whether or not another finger has its plug.
    else if (waitS > WAIT_S) end('doesNotMove');
  }

  function closeOthers(timeS: number, curl: number, waitS: number, stop: number | undefined): void {
    // A stop that is passed follows the finger, and would hold no other.
    if (stop === undefined || curl > STRAIGHT + NEAR) {
      again('straightenAll', 'doesNotMove');
      return;
    }
    const known = others.filter((one) => !Number.isNaN(still(one).at));
    const rested = (one: number) => timeS - still(one).sinceS >= REST_S;
    const closed = known.filter((one) => still(one).at >= CLOSED);
    const held = known.filter((one) => Math.abs(still(one).at - STOP_AT) <= NEAR && rested(one));
    const over = known.length > 0 && known.every(rested) && closed.length + held.length === known.length;
    if (!over && waitS <= WAIT_S / 2) return;
    // A wearer who has not begun has closed none; of one other alone there is nothing to compare it with.
    if (held.length === 1 && (closed.length > 0 || known.length === 1)) {
      state.instead = held[0];
      end('wrongChannel');
    } else end('doesNotMove');
  }

  const still = (one: number) => rest.get(one) as { at: number; sinceS: number };
  function look(timeS: number, curls: readonly (number | undefined)[]): void {
    for (const [one, now] of rest) {
      const curl = curls[one];
      if (curl === undefined) now.at = Number.NaN;
      else if (!(Math.abs(curl - now.at) <= STILL)) {
        now.at = curl;
        now.sinceS = timeS;
      }
    }
  }

  return {
    state,
    step(timeS, curls, stop) {
      const curl = curls[finger];
      if (state.phase === 'done' || curl === undefined) return;
      if (Number.isNaN(beganS)) beganS = timeS;
      most = Math.max(most, curl);
      look(timeS, curls);
      const [restS, waitS] = [timeS - still(finger).sinceS, timeS - beganS];
      if (state.phase === 'straighten') straighten(restS, curl, waitS, 'closeFree');
      else if (state.phase === 'straightenAgain') straighten(restS, curl, waitS, 'keepStraight');
      else if (state.phase === 'closeFree') closeFree(restS, curl, waitS);
      else if (state.phase === 'closeHeld') closeHeld(timeS, restS, curl, waitS, stop);
      else if (state.phase === 'payOut') payOut(timeS, restS, curl, waitS, stop);
      else if (state.phase === 'straightenAll') straightenAll(timeS, waitS);
      else if (state.phase === 'closeOthers') closeOthers(timeS, curl, waitS, stop);
      else keepStraight(timeS, curl, waitS, stop);
    },
  };
}

const STOP_OF: Record<TrialState['phase'], 'none' | 'near' | 'far'> = {
  straighten: 'none',
  closeFree: 'none',
  straightenAgain: 'none',
  keepStraight: 'near',
  closeHeld: 'near',
  payOut: 'far',
  straightenAll: 'none',
  keepAllStraight: 'near',
  closeOthers: 'near',
  done: 'none',
};
