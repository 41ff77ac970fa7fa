import type { Asked } from './arbitration.js';
import type { GovernorInputs } from './governor-step.js';

/**
 * The narrow door by which a fit of the actuators moves one string stop in wire space, where it is not known yet
 * which wire stop is which curl, so that "never behind the finger" cannot be judged. It holds to this instead:
 *
 *   - one finger at a time; no app is served meanwhile (Resistance);
 *   - from free, a stop begins at the end of the wire where the profile says that the string is paid out;
 *   - it winds or pays out at PROBE_RATE, at no more than PROBE_EFFORT;
 *   - it moves only while that finger is measured open and healthy; when it is not, before the servo has had
 *     PROBE_SETTLE to arrive, the finger is freed;
 *   - whatever frees the finger, a guard of the governor or this, ends the probe: nothing resumes half-way.
 *
 * Pure: time is passed in. Places are `payout`: 1 paid out, 0 wound up.
 */

/** A finger below this curl is open. */
export const PROBE_OPEN = 0.1;
/** Part of the wire range a second. */
export const PROBE_RATE = 0.5;
/** Of the permitted maximum; below what may be held forever. */
export const PROBE_EFFORT = 0.4;
/** From the last command until the servo is taken to be there, µs. */
export const PROBE_SETTLE_US = 200_000;
/** After a longer pause than this between steps, a stop moves as if it had been this, µs. */
const LONGEST_STEP_US = 20_000;

/** Between wire (0..1) and payout, both ways: a servo mounted the other way round pays out towards 0. */
export const payout = (forward: boolean, at: number) => (forward ? at : 1 - at);

export class StopProbe {
  /** Being probed, or -1: free. */
  finger = -1;
  effort = 0;
  untilUs = 0;
  /** Where the stop is told to be now. */
  place = 1;
  private target = 1;
  private movedUs = 0;
  private lastUs = Number.NaN;

  /** @param target payout; a value that is not a number frees */
  ask(finger: number, target: number, effort: number, untilUs: number): void {
    if (!(target >= 0 && target <= 1 && effort > 0)) {
      this.free();
      return;
    }
    if (finger !== this.finger) {
      this.free();
      this.finger = finger;
    }
    this.target = target;
    this.effort = Math.min(PROBE_EFFORT, effort);
    this.untilUs = untilUs;
  }

  free(): void {
    this.finger = -1;
    this.effort = 0;
    this.place = 1;
    this.target = 1;
    this.lastUs = Number.NaN;
  }

  /** Moves on, if the finger permits it. @param curl measured, of the probed finger */
  step(nowUs: number, curl: number, healthy: boolean): void {
    if (this.finger < 0) return;
    const open = healthy && curl < PROBE_OPEN;
    if (Number.isNaN(this.lastUs)) {
      this.lastUs = nowUs;
      // On the way from where it was free.
      this.movedUs = nowUs;
    }
    const passedUs = Math.min(LONGEST_STEP_US, nowUs - this.lastUs);
    this.lastUs = nowUs;
    const moves = this.target !== this.place;
    const settled = nowUs - this.movedUs >= PROBE_SETTLE_US;
    if (!open && (moves || !settled)) {
      this.free();
      return;
    }
    if (!moves) return;
    const reach = Math.max(0, (PROBE_RATE * passedUs) / 1e6);
    this.place += Math.min(reach, Math.max(-reach, this.target - this.place));
    this.movedUs = nowUs;
  }
}

/**
 * The probe in place of whatever else is asked. Its finger counts as open for the governor, and as pressing: with all
 * that the drive gives while it is closing, and with the effort asked for while it is open, where the stop is kept
 * short of it.
 */
export function askForProbe(
  stopProbe: StopProbe,
  nowUs: number,
  curls: Float64Array,
  heedsEffort: readonly boolean[],
  asked: Asked,
  inputs: GovernorInputs,
): void {
  asked.efforts.fill(0);
  asked.stops.fill(1);
  asked.apps.fill('');
  inputs.pressing?.fill(0);
  const { finger } = stopProbe;
  if (finger < 0) return;
  const curl = curls[finger];
  stopProbe.step(nowUs, curl, inputs.healthy[finger] === 1);
  if (stopProbe.finger < 0) return;
  asked.stops[finger] = stopProbe.place;
  asked.efforts[finger] = stopProbe.effort;
  asked.expiresUs[finger] = stopProbe.untilUs;
  const eases = curl < PROBE_OPEN && !heedsEffort[finger];
  if (inputs.pressing) inputs.pressing[finger] = eases ? stopProbe.effort : 1;
  // What is not a number stays so, for the governor to see.
  inputs.curls[finger] = Number.isFinite(curl) ? 0 : curl;
}
