import { FINGER_COUNT, type RequestStore } from './requests.js';

/** What is asked of each finger after arbitration. Reused from step to step. */
export interface Asked {
  /** Curl. Meaningless where the effort is 0. */
  stops: Float64Array;
  /** Of the permitted maximum; 0: nothing is asked. */
  efforts: Float64Array;
  /** When the winning request ends, µs. */
  expiresUs: Float64Array;
  /** App of the winning request; '' when nothing is asked. */
  apps: string[];
}

export const makeAsked = (): Asked => ({
  stops: new Float64Array(FINGER_COUNT).fill(1),
  efforts: new Float64Array(FINGER_COUNT),
  expiresUs: new Float64Array(FINGER_COUNT),
  apps: new Array<string>(FINGER_COUNT).fill(''),
});

/**
 * Per finger, the firmest permitted stop of all apps and layers wins.
 *
 * Firmer is: the smaller stop, where a stop that is behind the finger counts as being at the finger (it
 * cannot be placed further back, unless pulling is allowed); then the greater effort; then the older slot.
 * So a feather asked for far inside a wall does not make the wall soft.
 *
 * Arbitration decides who, the governor whether: an expired request loses to every live one but is passed
 * on when there is no other, for the governor to end and report.
 */
export function arbitrate(
  requests: RequestStore,
  curls: ArrayLike<number>,
  allowPull: boolean,
  nowUs: number,
  asked: Asked,
): void {
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    const curl = curls[finger];
    const floor = !allowPull && Number.isFinite(curl) ? curl : Number.NEGATIVE_INFINITY;
    let winner = -1;
    let winnerLive = false;
    let winnerStop = 0;
    let winnerEffort = 0;
    for (let slot = 0; slot < requests.count; slot++) {
      const effort = requests.efforts[slot * FINGER_COUNT + finger];
      if (effort === 0) continue;
      const live = nowUs < requests.expiresUs[slot];
      const stop = Math.max(requests.stops[slot * FINGER_COUNT + finger], floor);
      const firmer =
        winner < 0 ||
        (live !== winnerLive ? live : stop < winnerStop || (stop === winnerStop && effort > winnerEffort));
      if (!firmer) continue;
      winner = slot;
      winnerLive = live;
      winnerStop = stop;
      winnerEffort = effort;
    }
    asked.stops[finger] = winner < 0 ? 1 : requests.stops[winner * FINGER_COUNT + finger];
    asked.efforts[finger] = winnerEffort;
    asked.expiresUs[finger] = winner < 0 ? 0 : requests.expiresUs[winner];
    asked.apps[finger] = winner < 0 ? '' : requests.apps[winner];
  }
}
