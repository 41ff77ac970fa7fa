import type { SafetyProfile } from '../config/schema.js';
import { WATCHDOG_MS } from '../protocol/link-table.js';
import { EventRing, WHOLE_HAND } from './events.js';
import {
  type DriveModel,
  type FingerDrive,
  HEAT_FADE_FROM,
  HOLD_FADE_S,
  HOLD_SUSTAINED,
  modelOf,
  REST_TO,
} from './finger-drive.js';
import { type GovernorInputs, type GovernorOutputs, makeGovernorOutputs } from './governor-step.js';
import { LIMIT_BIT, LIMITS, type LimitName } from './limits.js';
import { FINGER_COUNT } from './requests.js';
import { SeenMotion } from './seen-motion.js';
import { StopMotion } from './stop-motion.js';

/** Without a step for this long the hand is freed and stops approach from the start again. */
const MAX_STEP_GAP_US = 200_000;
/** The finger counts as resting on its stop from this far before it, curl. */
export const LOAD_MARGIN = 0.05;
/** A limit that acts again within this time of acting on the same finger is the same event. */
const EVENT_QUIET_US = 250_000;

/** What guards see: the step's inputs, the state after the last step, and the outputs in the making. */
export interface StepState {
  readonly safety: SafetyProfile;
  readonly fingerDrives: readonly DriveModel[];
  readonly inputs: GovernorInputs;
  readonly outputs: GovernorOutputs;
  readonly armed: boolean;
  readonly shut: boolean;
  readonly nowUs: number;
  /** Since the last step, s; 0 on the first and after a jump. */
  readonly stepS: number;
  readonly clockJumped: boolean;
  /** Stops after the last step, 1 where free. */
  readonly lastStops: Float64Array;
  /** Curl: each servo's stop is here by now, or still further away. */
  readonly places: Float64Array;
  /** What the fingers' motion says of their sensors. */
  readonly seen: SeenMotion;
  /** Seconds of hold time used. */
  readonly holdS: Float64Array;
  /** Part of the thermal budget used; pulses may bring it over 1. */
  readonly heats: Float64Array;
  /** Per finger: 1 from when `hold` or `heat` let go a drive that does not heed the effort, until it has rested. */
  readonly resting: Uint8Array;
  /** Supply current that the drives which heed the effort, or those which do not, may draw, A. */
  demandA(heedsEffort: boolean): number;
  /** Frees the whole hand. */
  freeHand(reason: LimitName): void;
  freeFinger(finger: number, reason: LimitName): void;
  /** Moves a stop away from the finger, if it is nearer than this; without a reason it is too little to tell. */
  raiseStop(finger: number, stop: number, reason: LimitName | undefined): void;
  /** Lowers a drive, if it is higher than this; frees the finger if its drive cannot be lowered. */
  lowerDrive(finger: number, drive: number, reason: LimitName): void;
}

const clamp01 = (value: number) => Math.min(1, Math.max(0, value));

/** State and outputs in the making; the only place that writes outputs. */
export class WorkingStep implements StepState {
  readonly outputs = makeGovernorOutputs();
  readonly events = new EventRing();
  inputs!: GovernorInputs;
  armed = false;
  shut = false;
  nowUs = 0;
  stepS = 0;
  clockJumped = false;
  anyAsked = false;
  readonly lastStops = new Float64Array(FINGER_COUNT).fill(1);
  private readonly motion = new StopMotion();
  readonly places = this.motion.places;
  readonly seen = new SeenMotion();
  readonly holdS = new Float64Array(FINGER_COUNT);
  readonly heats = new Float64Array(FINGER_COUNT);
  readonly resting = new Uint8Array(FINGER_COUNT);
  /** Drive squared that worked on each finger since the last step. */
  private readonly loads = new Float64Array(FINGER_COUNT);
  /** 1: the finger was held at more than HOLD_SUSTAINED since the last step. */
  private readonly straining = new Uint8Array(FINGER_COUNT);
  /** When each limit last acted, per finger and for the whole hand. */
  private readonly actedUs = new Float64Array((FINGER_COUNT + 1) * LIMITS.length).fill(
    Number.NEGATIVE_INFINITY,
  );
  private lastUs = Number.NaN;

  readonly fingerDrives: readonly DriveModel[];

  constructor(
    fingerDrives: readonly FingerDrive[],
    readonly safety: SafetyProfile,
  ) {
    this.fingerDrives = fingerDrives.map((fingerDrive) => modelOf(fingerDrive, safety));
  }

  /** Takes the time, and accounts for what the last step's outputs did until now. */
  begin(nowUs: number, inputs: GovernorInputs): void {
    this.inputs = inputs;
    const passedUs = Number.isNaN(this.lastUs) ? 0 : nowUs - this.lastUs;
    this.clockJumped = !(passedUs >= 0 && passedUs <= MAX_STEP_GAP_US);
    this.stepS = this.clockJumped ? 0 : passedUs / 1e6;
    if (this.clockJumped) {
      this.actedUs.fill(Number.NEGATIVE_INFINITY);
      this.seen.forget();
    }
    if (Number.isFinite(nowUs)) this.lastUs = nowUs;
    this.nowUs = nowUs;
    if (passedUs > 0 && Number.isFinite(passedUs)) this.age(passedUs / 1e6);

    const { outputs } = this;
    const fresh = inputs.linkLive && Math.abs(inputs.sampleAgeUs) <= this.safety.staleMs * 1000;
    const { curls, measured = curls, healthy } = inputs;
    this.seen.follow(measured, healthy, fresh, outputs.held, this.places, this.stepS);
    this.anyAsked = false;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const asked = inputs.efforts[finger] !== 0;
      if (asked) this.anyAsked = true;
      outputs.limits[finger] = 0;
      outputs.held[finger] = asked ? 1 : 0;
      outputs.stops[finger] = asked ? clamp01(inputs.stops[finger]) : 1;
      const fingerDrive = this.fingerDrives[finger];
      const drive = fingerDrive.heedsEffort ? inputs.efforts[finger] * fingerDrive.permittedDrive : 1;
      outputs.drives[finger] = asked ? drive : 0;
    }
  }

  /** Derives the other outputs from stops and drives, and keeps what the next step needs. */
  end(): void {
    const { outputs, inputs } = this;
    outputs.anyHeld = false;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (outputs.held[finger] === 1 && !(outputs.drives[finger] > 0)) this.free(finger);
      const fingerDrive = this.fingerDrives[finger];
      const held = outputs.held[finger] === 1;
      const drive = outputs.drives[finger];
      const effort = held ? drive / fingerDrive.permittedDrive : 0;
      const atStop = inputs.curls[finger] >= outputs.stops[finger] - LOAD_MARGIN;
      const press = held ? Math.max(atStop ? 1 : 0, inputs.pressing?.[finger] ?? 0) : 0;
      if (held) outputs.anyHeld = true;
      outputs.efforts[finger] = effort;
      outputs.tensionsN[finger] = drive * fingerDrive.stallTensionN;
      outputs.heats[finger] = clamp01(this.heats[finger]);
      this.lastStops[finger] = outputs.stops[finger];
      this.loads[finger] = (press * drive) ** 2 + inputs.pulseDrives[finger] ** 2;
      this.straining[finger] = press * effort > HOLD_SUSTAINED - 1e-6 ? 1 : 0;
    }
  }

  /** Free at once, between steps. */
  freeNow(): void {
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      this.free(finger);
      this.outputs.efforts[finger] = 0;
      this.outputs.tensionsN[finger] = 0;
      this.lastStops[finger] = 1;
      this.loads[finger] = 0;
      this.straining[finger] = 0;
      this.outputs.limits[finger] = 0;
    }
    this.outputs.anyHeld = false;
  }

  demandA(heedsEffort: boolean): number {
    let sumA = 0;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const fingerDrive = this.fingerDrives[finger];
      if (fingerDrive.heedsEffort === heedsEffort)
        sumA += this.outputs.drives[finger] * fingerDrive.stallCurrentA;
    }
    return sumA;
  }

  freeHand(reason: LimitName): void {
    let most = 0;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (this.outputs.held[finger] === 0) continue;
      most = Math.max(most, this.inputs.efforts[finger]);
      this.outputs.limits[finger] |= LIMIT_BIT[reason];
      this.free(finger);
    }
    if (most !== 0) this.report(WHOLE_HAND, reason, most, 0);
  }

  freeFinger(finger: number, reason: LimitName): void {
    if (this.outputs.held[finger] === 0) return;
    this.free(finger);
    this.intervene(finger, reason, this.inputs.efforts[finger], 0);
  }

  raiseStop(finger: number, stop: number, reason: LimitName | undefined): void {
    if (this.outputs.held[finger] === 0) return;
    const asked = this.outputs.stops[finger];
    if (asked >= stop) return;
    if (!Number.isFinite(stop)) {
      this.freeFinger(finger, reason ?? 'invalidRequest');
      return;
    }
    this.outputs.stops[finger] = Math.min(1, stop);
    if (reason) this.intervene(finger, reason, asked, stop);
  }

  lowerDrive(finger: number, drive: number, reason: LimitName): void {
    if (this.outputs.held[finger] === 0) return;
    const asked = this.outputs.drives[finger];
    if (asked <= drive) return;
    if (!Number.isFinite(drive) || !this.fingerDrives[finger].heedsEffort) {
      this.freeFinger(finger, reason);
      if (reason === 'hold' || reason === 'heat') this.resting[finger] = 1;
      return;
    }
    this.outputs.drives[finger] = Math.max(0, drive);
    const permitted = this.fingerDrives[finger].permittedDrive;
    this.intervene(finger, reason, asked / permitted, drive / permitted);
  }

  private free(finger: number): void {
    this.outputs.held[finger] = 0;
    this.outputs.stops[finger] = 1;
    this.outputs.drives[finger] = 0;
  }

  private intervene(finger: number, reason: LimitName, asked: number, given: number): void {
    this.outputs.limits[finger] |= LIMIT_BIT[reason];
    this.report(finger, reason, asked, given);
  }

  private report(finger: number, reason: LimitName, asked: number, given: number): void {
    const at = (finger === WHOLE_HAND ? FINGER_COUNT : finger) * LIMITS.length + LIMITS.indexOf(reason);
    const quietUs = this.lastUs - this.actedUs[at];
    this.actedUs[at] = this.lastUs;
    if (quietUs > EVENT_QUIET_US) this.events.push(this.lastUs, finger, reason, asked, given);
  }

  /** Heat and hold time over the time that has passed. Exact for any length, so it cannot run away. */
  private age(passedS: number): void {
    // However long the gap, the glove's own watchdog had ended the force by then.
    const onS = Math.min(passedS, WATCHDOG_MS / 1000);
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const fingerDrive = this.fingerDrives[finger];
      this.motion.follow(finger, this.lastStops[finger], fingerDrive.speedCurlPerS, passedS);
      if (this.loads[finger] !== 0 || this.heats[finger] !== 0) {
        const settled = this.loads[finger] * fingerDrive.heatGain * fingerDrive.coolS;
        const warmed = settled + (this.heats[finger] - settled) * Math.exp(-onS / fingerDrive.coolS);
        this.heats[finger] = passedS > onS ? warmed * Math.exp(-(passedS - onS) / fingerDrive.coolS) : warmed;
      }

      const used = this.straining[finger] === 1 ? onS - (passedS - onS) : -passedS;
      this.holdS[finger] = Math.min(
        fingerDrive.maxHoldS + HOLD_FADE_S,
        Math.max(0, this.holdS[finger] + used),
      );
      const rested =
        this.holdS[finger] <= REST_TO * fingerDrive.maxHoldS &&
        this.heats[finger] <= REST_TO * HEAT_FADE_FROM;
      if (rested) this.resting[finger] = 0;
    }
  }
}
