import type { SafetyProfile } from '../config/schema.js';
import { type EventRing, WHOLE_HAND } from './events.js';
import type { FingerDrive } from './finger-drive.js';
import type { GovernorInputs, GovernorOutputs } from './governor-step.js';
import { GUARDS, type Guard } from './guards.js';
import { WorkingStep } from './step-state.js';

/**
 * The safety governor of one glove: the last thing between what apps ask and what the actuators do.
 *
 * The latch:
 *
 *        start ──> disarmed ──arm()──> armed            arm() is refused after shutdown, and for REARM_PAUSE
 *                     ^                  │              after a disarm, so that an app's arm that was under
 *                     └────disarm()──────┘              way cannot undo what the wearer just did.
 *                     │                  │
 *                     └──> shut down <───┘  shutdown(): for good
 *
 * A finger, in every step, goes through the guards (guards.ts), which work on a state of what is given (state.ts):
 *
 *     asked ──> shutdown ──> disarmed ──> clockJump ──> linkLost ──> stale      free the whole hand
 *           ──> invalidRequest ──> expired ──> noActuator ──> faultyFinger      free the finger
 *           ──> unseen                                                          free it, or leave its stop where it is
 *           ──> notBehindFinger ──> rate                                        move the stop away from it
 *           ──> tension ──> hold ──> heat ──> supply                            lower the drive, or free
 *           ──> given
 *
 * Words: `effort` is 0..1 of the permitted maximum, which is the smaller of the tension cap and what the
 * actuator can do. `drive` is 0..1 of what the actuator can do: drive 1 is stall torque and stall current.
 */

/** Who arms or disarms: the wearer by a way of their own, or an app that the profile trusts with it. */
export type WhoArms = 'wearer' | 'app';

/** An arm is refused for this long after a disarm. */
export const REARM_PAUSE_US = 250_000;

/** One per glove. Pure: the only clock is the time that is passed in. */
export class Governor {
  /** Written by `step`, `disarm` and `shutdown`; read it, never write it. */
  readonly outputs: GovernorOutputs;
  readonly events: EventRing;
  /** Who armed the glove, or why it is disarmed. */
  reason = 'Not armed since the start.';
  private readonly state: WorkingStep;
  private disarmedUs = Number.NEGATIVE_INFINITY;

  /**
   * @param fingerDrives one per finger, in FINGERS order
   * @param guards every guard, in order; tests leave one out to prove that it is needed
   */
  constructor(
    fingerDrives: readonly FingerDrive[],
    safety: SafetyProfile,
    private readonly guards: readonly Guard[] = GUARDS,
  ) {
    this.state = new WorkingStep(fingerDrives, safety);
    this.outputs = this.state.outputs;
    this.events = this.state.events;
  }

  get armed(): boolean {
    return this.state.armed;
  }

  get shut(): boolean {
    return this.state.shut;
  }

  /** Permits force. False when refused: shut down, or disarmed less than REARM_PAUSE_US ago. */
  arm(nowUs: number, by: string): boolean {
    if (this.state.shut || !(nowUs - this.disarmedUs >= REARM_PAUSE_US)) return false;
    if (!this.state.armed) this.events.push(nowUs, WHOLE_HAND, 'armed', 0, 0);
    this.state.armed = true;
    this.reason = by;
    return true;
  }

  /** Forbids force and frees every finger, now. */
  disarm(nowUs: number, reason: string): void {
    this.latch(nowUs, 'disarmed', reason);
  }

  /** As disarm, but nothing arms it again. */
  shutdown(nowUs: number): void {
    this.state.shut = true;
    this.latch(nowUs, 'shutdown', 'The service is stopping.');
  }

  /** @param nowUs monotonic; call at every sample, and at least every 20 ms so that silence is noticed */
  step(nowUs: number, inputs: GovernorInputs): GovernorOutputs {
    const { state } = this;
    state.begin(nowUs, inputs);
    // Guards only take away from what is given: where nothing is asked, there is nothing to take.
    if (state.anyAsked) for (const guard of this.guards) guard.apply(state);
    state.end();
    return this.outputs;
  }

  private latch(nowUs: number, reason: 'disarmed' | 'shutdown', text: string): void {
    this.state.armed = false;
    this.state.freeNow();
    this.disarmedUs = Number.isFinite(nowUs) ? nowUs : this.disarmedUs;
    this.reason = text;
    this.events.push(nowUs, WHOLE_HAND, reason, 0, 0);
  }
}
