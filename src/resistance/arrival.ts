import { curlOnArrival } from './feel.js';
import type { GovernorOutputs } from './governor-step.js';
import { FINGER_COUNT } from './requests.js';

/** From deciding to the first move, s: link, firmware, and half the period of a servo's pulses (50 Hz). */
const DELAY_S = 0.015;

/**
 * Where fingers will be when their actuators have reached what is asked for. A servo takes a tenth of a second
 * for half a finger's way: a stop that is at the finger's place when it is decided would be behind the finger
 * when it is there, and pull it open. Pure; allocates nothing.
 */
export class Arrivals {
  /** The larger of measured and predicted curl per finger; what is not a number stays so. */
  readonly curls = new Float64Array(FINGER_COUNT);
  /** Where each actuator is by now, curl, from what it was given and how fast it is. Free is 1. */
  private readonly placed = new Float64Array(FINGER_COUNT).fill(1);
  private placedUs = Number.NaN;

  /** @param speeds of what stops each finger, curl a second; 0 where nothing does that could pull it */
  constructor(private readonly speeds: ArrayLike<number>) {}

  /**
   * @param rates curl a second per finger; undefined: nothing is predicted
   * @param efforts asked for; 0: the finger is free
   */
  predict(
    curls: ArrayLike<number>,
    rates: ArrayLike<number> | undefined,
    stops: ArrayLike<number>,
    efforts: ArrayLike<number>,
  ): void {
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const curl = curls[finger];
      const speed = this.speeds[finger];
      const ahead =
        rates && speed > 0 && efforts[finger] !== 0
          ? curlOnArrival(curl, rates[finger], this.placed[finger], stops[finger], speed, DELAY_S)
          : curl;
      this.curls[finger] = Math.max(curl, ahead);
    }
  }

  /** Moves the actuators on towards what they were last given, and takes note of what is given now. */
  move(nowUs: number, given: GovernorOutputs): void {
    const passedS = (nowUs - this.placedUs) / 1e6;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const target = given.held[finger] === 1 ? given.stops[finger] : 1;
      const reach = passedS > 0 ? this.speeds[finger] * passedS : 0;
      const way = target - this.placed[finger];
      this.placed[finger] += Math.min(reach, Math.max(-reach, way));
    }
    if (Number.isFinite(nowUs)) this.placedUs = nowUs;
  }
}
