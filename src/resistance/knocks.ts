import { BRAKE_RAMP } from './actuators.js';
import { STOP_CLEARANCE } from './guards.js';
import { FINGER_COUNT } from './requests.js';

/** Keeps knocks apart from what an app asks for by itself. */
export const KNOCK_LAYER = 'knock\u0000';
/** A servo needs some time to get anywhere: a shorter knock would be none, ms. */
export const MIN_KNOCK_MS = 60;

/**
 * What a pulse is for a free finger without a vibration motor: a stop just ahead of it for the pulse's length, which a
 * finger that closes runs into; a brake grips it where it is. A request like any other, so arbitration and the governor
 * have the last word, and nothing moves a finger.
 */
export class Knocks {
  /** What to ask for, per finger: curl, and part of the permitted maximum; 0: nothing. */
  readonly stops = new Float64Array(FINGER_COUNT).fill(1);
  readonly efforts = new Float64Array(FINGER_COUNT);
  /** When the last of them ends, µs. */
  endsUs = Number.NEGATIVE_INFINITY;

  private readonly untilUs = new Float64Array(FINGER_COUNT).fill(Number.NEGATIVE_INFINITY);

  /** Forgets those that are over. Call before the knocks of a pulse are added. */
  begin(nowUs: number): void {
    this.endsUs = nowUs;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (nowUs < this.untilUs[finger]) this.endsUs = Math.max(this.endsUs, this.untilUs[finger]);
      else this.efforts[finger] = 0;
    }
  }

  /** @param brake it grips where the finger is; else a stop that the finger may run into */
  add(nowUs: number, finger: number, curl: number, brake: boolean, effort: number, lengthMs: number): void {
    const stop = brake ? curl - BRAKE_RAMP : curl + STOP_CLEARANCE;
    // One that follows another does not go on ahead of the finger.
    const runs = this.efforts[finger] > 0;
    this.stops[finger] = Math.max(0, runs ? Math.min(this.stops[finger], stop) : stop);
    this.efforts[finger] = effort;
    this.untilUs[finger] = nowUs + Math.max(lengthMs, MIN_KNOCK_MS) * 1000;
    this.endsUs = Math.max(this.endsUs, this.untilUs[finger]);
  }

  stop(): void {
    this.untilUs.fill(Number.NEGATIVE_INFINITY);
    this.efforts.fill(0);
  }
}
