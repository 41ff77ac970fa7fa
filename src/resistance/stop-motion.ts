import { FINGER_COUNT } from './requests.js';

/**
 * How far the servos of string stops have got, by dead reckoning: hobby servos do not say. Errs towards a servo
 * that is late, so a string counts as slack for too long rather than as taut too soon.
 */

/** From a command to the first motion of the servo: the way to the glove, one 50 Hz pulse, starting up. Common practice. */
const DEAD_TIME_S = 0.03;

export class StopMotion {
  /** Per finger, curl: the stop is at this place or further away from the finger. */
  readonly places = new Float64Array(FINGER_COUNT).fill(1);
  private readonly waitedS = new Float64Array(FINGER_COUNT);

  /**
   * @param command curl that the servo was told to go to in the time that passed
   * @param speed curl a second
   */
  follow(finger: number, command: number, speed: number, passedS: number): void {
    if (!(command < this.places[finger])) {
      this.places[finger] = command;
      this.waitedS[finger] = 0;
      return;
    }
    this.waitedS[finger] += passedS;
    const movedS = Math.min(passedS, this.waitedS[finger] - DEAD_TIME_S);
    if (movedS > 0) this.places[finger] = Math.max(command, this.places[finger] - speed * movedS);
  }
}
