/** What a trial shows of one servo. */
export type ServoResult = 'moves' | 'offPlace' | 'doesNotMove' | 'wrongWay' | 'stuck' | 'letGo' | 'notTried';

/** Where the trial is: what the wearer is asked, and where the stop is to be; undefined: the finger is to be free. */
export interface TrialState {
  phase: 'straighten' | 'closeFree' | 'straightenAgain' | 'keepStraight' | 'closeHeld' | 'done';
  stopAt: number | undefined;
  result: ServoResult | undefined;
  /** Curl that the finger reached when free, and against the stop; NaN while not known. */
  freeCurl: number;
  heldCurl: number;
}

/** Where the finger is stopped: not far, and with half of its way left to tell a servo that does nothing. */
export const STOP_AT = 0.35;
/** And where once more, if it rested elsewhere: a servo whose ends are exchanged stops it too soon there. */
export const STOP_FAR = 0.65;
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
/** A servo has gone there by then: a finger that outruns it would be stopped late. */
const SERVO_S = 0.6;
/** So often is it tried again when the service lets the finger go meanwhile: samples were late, say. */
const TRIES = 3;

/**
 * Tries one servo: the finger closes freely, then against a stop. Pure: time comes in with each step.
 *
 * A servo that is mounted the wrong way holds the finger when it should let go; one whose ends are exchanged in the
 * profile lets go, but stops the finger as far from the closed end as it should from the open one.
 */
export interface ServoTrial {
  readonly state: TrialState;
  /**
   * @param curl of the finger, 0..1; undefined: not known now
   * @param stop where the service reports the finger's stop to be; undefined: the finger is free
   */
  step(timeS: number, curl: number | undefined, stop: number | undefined): void;
}

export function createServoTrial(): ServoTrial {
  const state: TrialState = {
    phase: 'straighten',
    stopAt: undefined,
    result: undefined,
    freeCurl: Number.NaN,
    heldCurl: Number.NaN,
  };
  let target = STOP_AT;
  let beganS = Number.NaN;
  /** Since when the finger has been where it is, and the stop where it is to be. */
  let stillS = Number.NaN;
  let setS = Number.NaN;
  let stillAt = Number.NaN;
  let most = 0;
  let tries = 0;

  function enter(phase: TrialState['phase']): void {
    state.phase = phase;
    state.stopAt = phase === 'keepStraight' || phase === 'closeHeld' ? target : undefined;
    beganS = stillS = setS = stillAt = Number.NaN;
    most = 0;
  }
  function end(result: ServoResult): void {
    enter('done');
    state.result = result;
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
    if (curl > STRAIGHT + NEAR) enter('straightenAgain');
    else if (stop === undefined || Math.abs(stop - target) > SET) {
      setS = Number.NaN;
      if (waitS > WAIT_S) end('letGo');
    } else if (Number.isNaN(setS)) setS = timeS;
    else if (timeS - setS >= SERVO_S) enter('closeHeld');
  }

  function closeHeld(restS: number, curl: number, waitS: number, stop: number | undefined): void {
    if (stop === undefined) {
      // What the finger does now says nothing of its servo.
      if (++tries < TRIES) enter('straightenAgain');
      else end('letGo');
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
      end(target === STOP_AT ? 'doesNotMove' : 'offPlace');
    } else if (target === STOP_AT && curl > STOP_AT + NEAR) {
      target = STOP_FAR;
      enter('straightenAgain');
    } else if (target === STOP_FAR && curl < STOP_FAR - NEAR) end('wrongWay');
    else end(target === STOP_AT && curl > STOP_AT - NEAR ? 'moves' : 'offPlace');
  }

  return {
    state,
    step(timeS, curl, stop) {
      if (state.phase === 'done' || curl === undefined) return;
      if (Number.isNaN(beganS)) beganS = timeS;
      most = Math.max(most, curl);
      if (!(Math.abs(curl - stillAt) <= STILL)) {
        stillAt = curl;
        stillS = timeS;
      }
      const [restS, waitS] = [timeS - stillS, timeS - beganS];
      if (state.phase === 'straighten') straighten(restS, curl, waitS, 'closeFree');
      else if (state.phase === 'straightenAgain') straighten(restS, curl, waitS, 'keepStraight');
      else if (state.phase === 'closeFree') closeFree(restS, curl, waitS);
      else if (state.phase === 'keepStraight') keepStraight(timeS, curl, waitS, stop);
      else closeHeld(restS, curl, waitS, stop);
    },
  };
}
