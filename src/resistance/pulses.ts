import type { SafetyProfile } from '../config/schema.js';
import { MAX_ACTUATORS } from '../protocol/link-table.js';
import { actuatorFinger, cappedDrive, exertsForce, type GloveActuator } from './actuators.js';
import { HEAT_FADE_FROM } from './finger-drive.js';
import type { GovernorOutputs } from './governor-step.js';
import { Knocks } from './knocks.js';
import { LIMIT_BIT } from './limits.js';

/** Longest pulse of a vibration motor, ms: what a glove takes. */
export const MAX_PULSE_MS = 1000;
/** Longest pulse of what holds a finger, ms: a knock, not a hold. */
export const MAX_KNOCK_MS = 150;
/** Pulse time that an actuator may save up, ms, and what it earns a second: half of the time at most. */
const BUDGET_MS = 1000;
const BUDGET_MS_PER_S = 500;
/** Pulses of one actuator are at least this far apart, µs. */
const MIN_INTERVAL_US = 10_000;
const FADED = LIMIT_BIT.hold | LIMIT_BIT.heat | LIMIT_BIT.supply;

/** Palm, besides the indices of FINGERS. */
export const PULSE_PALM = 5;
export const PULSE_EVERYWHERE = -1;

/**
 * Checks pulses and keeps the books on them. A role that has a vibration motor is pulsed with it. Otherwise what holds
 * the finger is, while it holds and no limit fades it; and a finger that is free gets a knock (knocks.ts), which moves
 * nothing. Pulses of no length or strength end what runs.
 */
export class Pulses {
  /** The last accepted pulse, for each actuator to send it to: 0..count-1. */
  count = 0;
  readonly actuators = new Uint8Array(MAX_ACTUATORS);
  /** 0..255 of what the actuator can do. */
  readonly amplitudes = new Uint8Array(MAX_ACTUATORS);
  readonly durationsMs = new Uint16Array(MAX_ACTUATORS);
  frequencyHz = 0;
  /** Of fingers that are free. */
  readonly knocks = new Knocks();
  /** The last accepted pulse knocks. */
  knocked = false;

  private readonly budgetsMs: Float64Array;
  private readonly lastUs: Float64Array;
  private readonly endsUs: Float64Array;
  private readonly drives: Float64Array;
  private readonly roles: readonly number[];
  private readonly forceful: readonly boolean[];
  private readonly usable: readonly boolean[];

  constructor(
    private readonly profiles: readonly GloveActuator[],
    private readonly safety: SafetyProfile,
  ) {
    const n = profiles.length;
    this.budgetsMs = new Float64Array(n).fill(BUDGET_MS);
    this.lastUs = new Float64Array(n).fill(Number.NEGATIVE_INFINITY);
    this.endsUs = new Float64Array(n);
    this.drives = new Float64Array(n);
    this.roles = profiles.map((one) => (one?.role === 'palm' ? PULSE_PALM : actuatorFinger(one)));
    this.forceful = profiles.map(exertsForce);
    this.usable = profiles.map((one, at) => {
      if (!one || this.roles[at] < 0) return false;
      const hasMotor = profiles.some((other) => other?.role === one.role && other.kind === 'vibration');
      return one.kind === 'vibration' || (!hasMotor && this.forceful[at]);
    });
  }

  /**
   * Fills the arrays with what to send.
   * @param target index into FINGERS, PULSE_PALM or PULSE_EVERYWHERE
   * @returns whether anything is to be sent, or why not
   */
  accept(
    nowUs: number,
    target: number,
    amplitude: number,
    durationMs: number,
    frequencyHz: number,
    given: GovernorOutputs,
    healthy: ArrayLike<number>,
    curls: ArrayLike<number>,
  ): 'sent' | 'nothingThere' | 'notHeld' | 'tooMany' {
    this.count = 0;
    this.knocked = false;
    this.knocks.begin(nowUs);
    this.frequencyHz = Math.round(Math.min(1000, Math.max(1, frequencyHz)));
    const strength = Math.min(1, Math.max(0, amplitude));
    let there = false;
    let held = false;
    for (let at = 0; at < this.profiles.length && this.count < MAX_ACTUATORS; at++) {
      const actuator = this.profiles[at];
      if (!actuator || !this.usable[at]) continue;
      if (target !== PULSE_EVERYWHERE && this.roles[at] !== target) continue;
      there = true;
      const role = this.roles[at];
      const isFree = given.held[role] !== 1 || this.knocks.efforts[role] > 0;
      const knock = this.forceful[at] && isFree && mayKnock(role, given, healthy, curls);
      if (this.forceful[at] && !knock && !firmlyHeld(role, given, healthy)) continue;
      held = true;
      const lengthMs = Math.min(
        Math.max(1, Math.round(durationMs)),
        this.forceful[at] ? MAX_KNOCK_MS : MAX_PULSE_MS,
      );
      const drive = strength * cappedDrive(actuator, this.safety);
      if (!this.withinBudget(at, actuator.stallCurrentA * drive, lengthMs, nowUs)) continue;
      this.lastUs[at] = nowUs;
      if (knock) {
        // What it draws is counted where requests are.
        this.knocks.add(nowUs, role, curls[role], actuator.kind === 'brake', strength, lengthMs);
        this.knocked = true;
        continue;
      }
      this.endsUs[at] = nowUs + lengthMs * 1000;
      this.drives[at] = drive;
      this.actuators[this.count] = at;
      this.amplitudes[this.count] = Math.floor(drive * 255);
      this.durationsMs[this.count] = lengthMs;
      this.count++;
    }
    if (this.count > 0 || this.knocked) return 'sent';
    return held ? 'tooMany' : there ? 'notHeld' : 'nothingThere';
  }

  /** Fills the arrays with what ends the pulses that run there. @param target as for `accept` */
  end(nowUs: number, target: number): void {
    this.count = 0;
    this.frequencyHz = 1;
    this.knocked = false;
    if (target !== PULSE_PALM) this.knocks.stop();
    for (let at = 0; at < this.profiles.length && this.count < MAX_ACTUATORS; at++) {
      if (!(nowUs < this.endsUs[at])) continue;
      if (target !== PULSE_EVERYWHERE && this.roles[at] !== target) continue;
      this.endsUs[at] = 0;
      this.actuators[this.count] = at;
      this.amplitudes[this.count] = 0;
      this.durationsMs[this.count] = 0;
      this.count++;
    }
  }

  /** The glove has stopped every pulse. */
  stop(): void {
    this.endsUs.fill(0);
    this.knocks.stop();
  }

  running(nowUs: number): boolean {
    for (let at = 0; at < this.endsUs.length; at++) if (nowUs < this.endsUs[at]) return true;
    return false;
  }

  /** Drive that running pulses add per finger. */
  drivesOf(nowUs: number, drives: Float64Array): void {
    drives.fill(0);
    for (let at = 0; at < this.endsUs.length; at++) {
      if (nowUs < this.endsUs[at] && this.forceful[at]) {
        drives[this.roles[at]] = Math.max(drives[this.roles[at]], this.drives[at]);
      }
    }
  }

  /** Current that running pulses draw, A. */
  currentA(nowUs: number): number {
    let sum = 0;
    for (let at = 0; at < this.endsUs.length; at++) {
      if (nowUs < this.endsUs[at]) sum += this.drives[at] * (this.profiles[at]?.stallCurrentA ?? 0);
    }
    return sum;
  }

  private withinBudget(at: number, currentA: number, lengthMs: number, nowUs: number): boolean {
    const passedUs = nowUs - this.lastUs[at];
    if (!(passedUs >= MIN_INTERVAL_US)) return false;
    if (!(this.currentA(nowUs) + currentA <= this.safety.maxSupplyA)) return false;
    const budget = Math.min(BUDGET_MS, this.budgetsMs[at] + (passedUs / 1e6) * BUDGET_MS_PER_S);
    if (!(budget >= lengthMs)) return false;
    this.budgetsMs[at] = budget - lengthMs;
    return true;
  }
}

const mayKnock = (
  finger: number,
  given: GovernorOutputs,
  healthy: ArrayLike<number>,
  curls: ArrayLike<number>,
) => healthy[finger] === 1 && Number.isFinite(curls[finger]) && given.heats[finger] < HEAT_FADE_FROM;

const firmlyHeld = (finger: number, given: GovernorOutputs, healthy: ArrayLike<number>) =>
  given.held[finger] === 1 &&
  healthy[finger] === 1 &&
  (given.limits[finger] & FADED) === 0 &&
  given.heats[finger] < HEAT_FADE_FROM;
