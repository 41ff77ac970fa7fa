/**
 * The safety governor of one glove: the last thing between what apps ask and what the actuators do.
 *
 * The latch:
 *
 *        start ──> disarmed ──arm()──> armed            arm() is refused after shutdown, and for REARM_PAUSE
 *                     ^                  │              after a disarm, so that an app's arm that was under
 *                     └────disarm()──────┘              way cannot undo what the wearer just did.
 *                     │                  │
 *                     └──> shut down <───┘  shutdown(): for ever
 *
 * A finger, in every step:
 *
 *     asked ──> shutdown ──> disarmed ──> clockJump ──> linkLost ──> stale      free the whole hand
 *           ──> invalidRequest ──> expired ──> noActuator ──> faultyFinger      free the finger
 *           ──> notBehindFinger ──> rate                                        move the stop away from it
 *           ──> tension ──> hold ──> heat ──> supply                            lower the drive, or free
 *           ──> given
 *
 * Each guard is one small function that may only move towards freedom: free a finger, raise a stop, lower a
 * drive. None can undo another, so leaving one out, or a fault in one, weakens that one limit alone, and
 * safety does not depend on their order (the order is that of the reasons a person wants to hear first).
 * Every comparison is written so that a value that is not a number frees the finger.
 *
 * Words: `effort` is 0..1 of the permitted maximum, which is the smaller of the tension cap and what the
 * actuator can do. `drive` is 0..1 of what the actuator can do: drive 1 is stall torque and stall current.
 *
 * Where a stop may be. A stop approaches the finger no faster than permitted and no nearer than
 * STOP_CLEARANCE, so that the noise of a sensor cannot ratchet a stop backwards and draw the finger open. A
 * stop that the finger then presses past stays where it is, or it would give way to any push and nothing
 * would be felt; it follows once the finger is HOLD_DEPTH past it. Away from the finger it moves at once.
 * While the servo is still on its way and the string slack, the finger may outrun it: the stop then yields to
 * the finger, or the late servo would draw the finger back.
 *
 * Heat. First order: dh/dt = gain · drive² − h / coolS (copper loss ∝ current² ∝ torque²), only while the
 * finger is at its stop; an idle servo is taken as cold. The gain is such that full drive from cold brings h
 * to HEAT_FADE_FROM in maxHoldS. From there the permitted drive falls in a straight line, to the drive that
 * h = 1 can sustain for ever. `hold` limits one long hold in the same spirit: after maxHoldS the effort fades
 * over HOLD_FADE_S to HOLD_SUSTAINED; letting go gives the time back as fast as it was used.
 */
import type { SafetyProfile } from '../config/schema.js';
import { WATCHDOG_MS } from '../link/table.js';
import { EventRing, WHOLE_HAND } from './events.js';
import { LIMIT_BIT, LIMITS, type LimitName } from './limits.js';
import { FINGER_COUNT } from './requests.js';
import { StopMotion } from './stop-motion.js';

/** An arm is refused for this long after a disarm. */
export const REARM_PAUSE_US = 250_000;
/** Without a step for this long the hand is freed and stops approach anew. */
export const MAX_STEP_GAP_US = 200_000;
/** A stop is placed no nearer than this to the finger, curl: well over the noise of a healthy channel. */
export const STOP_CLEARANCE = 0.02;
/** A stop that is pressed gives way when the finger is this far past it, curl. */
export const HOLD_DEPTH = 0.06;
/** The finger counts as resting on its stop from this far before it, curl. */
export const LOAD_MARGIN = 0.05;
/** Part of the thermal budget at which the drive begins to fade. */
export const HEAT_FADE_FROM = 0.8;
/** Effort that may be held for ever. */
export const HOLD_SUSTAINED = 0.5;
/** Time over which effort fades once the hold time is used up, s. */
export const HOLD_FADE_S = 2;
/** A drive that does not heed the effort, once let go, rests until this part of its budgets is used. */
export const REST_TO = 0.75;
/** A limit that acts again within this time of acting on the same finger is the same event. */
const EVENT_QUIET_US = 250_000;

/** What moves one finger: all its actuators together, at their most cautious. */
export interface Lane {
  /** Tension at drive 1, N; 0 when the finger has no actuator. */
  stallTensionN: number;
  /** Supply current at drive 1, A. */
  stallCurrentA: number;
  maxHoldS: number;
  coolS: number;
  /** It can pull the finger open (a string on a servo); a brake cannot. */
  pulls: boolean;
  /** How fast its string stop moves, curl a second; 0 without one. */
  speedCurlPerS: number;
  /** Its force follows the effort. If not, it holds with all it has or is free. */
  heedsEffort: boolean;
}

/** Read by a step; the caller owns and refills it. */
export interface GovernorInputs {
  /** Curl per finger where a stop is asked for. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum per finger; 0: nothing is asked. */
  efforts: Float64Array;
  /** Per finger: end of the request. */
  expiresUs: Float64Array;
  /** Curl per finger: measured or held. */
  curls: Float64Array;
  /** Per finger: 1 while its channel is healthy. */
  healthy: Uint8Array;
  /**
   * Per finger: part of its drive, 0..1, with which a held finger counts as pressing on its stop whatever its curl,
   * for heat and hold time.
   */
  pressing?: Float64Array;
  /** Drive per finger that pulses add for now; counts as heat. */
  pulseDrives: Float64Array;
  /** Current that pulses of the glove draw for now, A. */
  pulseCurrentA: number;
  /** Age of the newest sample, µs. A little less than 0 is possible: device time is mapped. */
  sampleAgeUs: number;
  linkLive: boolean;
}

/** Written by a step. */
export interface GovernorOutputs {
  /** 1: held at a stop; 0: free. */
  held: Uint8Array;
  /** Curl; 1 when free. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum. */
  efforts: Float64Array;
  /** 0..1 of what the actuator can do. */
  drives: Float64Array;
  tensionsN: Float64Array;
  /** Part of the thermal budget that is used, 0..1. */
  heats: Float64Array;
  /** LIMIT_BIT of every limit that acted. */
  limits: Uint16Array;
  /** True while any finger is held. */
  anyHeld: boolean;
}

/** What guards see: the step's inputs, the state after the last step, and the outputs in the making. */
export interface Draft {
  readonly safety: SafetyProfile;
  readonly lanes: readonly LaneModel[];
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

export interface Guard {
  readonly name: LimitName;
  apply(draft: Draft): void;
}

/** What follows from a lane and the profile, worked out once. */
interface LaneModel extends Lane {
  /** Drive at effort 1: the tension cap as a part of what the actuator can do. */
  permittedDrive: number;
  /** Rise of heat a second at drive 1, from the maxHoldS that full drive may last from cold. */
  heatGain: number;
  /** Drive whose heat settles at 1. */
  sustainableDrive: number;
}

function modelOf(lane: Lane, safety: SafetyProfile): LaneModel {
  const heatGain = HEAT_FADE_FROM / (lane.coolS * (1 - Math.exp(-lane.maxHoldS / lane.coolS)));
  return {
    ...lane,
    permittedDrive: lane.stallTensionN > 0 ? Math.min(1, safety.maxTensionN / lane.stallTensionN) : 0,
    heatGain,
    sustainableDrive: Math.min(1, Math.sqrt(1 / (heatGain * lane.coolS))),
  };
}

/** Drive that is permitted at a heat: 1 up to HEAT_FADE_FROM, the sustainable one at 1, 0 well beyond it. */
const driveAtHeat = ({ sustainableDrive }: LaneModel, heat: number) => {
  if (heat <= HEAT_FADE_FROM) return 1;
  return Math.max(0, sustainableDrive + ((1 - sustainableDrive) * (1 - heat)) / (1 - HEAT_FADE_FROM));
};

const effortAfterHold = ({ maxHoldS }: LaneModel, holdS: number) => {
  const over = Math.min(1, Math.max(0, (holdS - maxHoldS) / HOLD_FADE_S));
  return 1 - over * (1 - HOLD_SUSTAINED);
};

const eachFinger = (name: LimitName, apply: (draft: Draft, finger: number) => void): Guard => ({
  name,
  apply(draft) {
    for (let finger = 0; finger < FINGER_COUNT; finger++) apply(draft, finger);
  },
});

const wholeHand = (name: LimitName, unsafe: (draft: Draft) => boolean): Guard => ({
  name,
  apply(draft) {
    if (unsafe(draft)) draft.freeHand(name);
  },
});

/** The held finger with the least effort asked for among those whose drive cannot be lowered, or -1. */
const leastAsked = ({ lanes, inputs, outputs }: Draft): number => {
  let least = -1;
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    if (outputs.held[finger] === 0 || lanes[finger].heedsEffort) continue;
    if (least < 0 || inputs.efforts[finger] <= inputs.efforts[least]) least = finger;
  }
  return least;
};

/** All guards in their order. A governor in service has every one of them. */
export const GUARDS: readonly Guard[] = [
  wholeHand('shutdown', (draft) => draft.shut),
  wholeHand('disarmed', (draft) => !draft.armed),
  wholeHand('clockJump', (draft) => draft.clockJumped),
  wholeHand('linkLost', (draft) => draft.inputs.linkLive !== true),
  wholeHand('stale', (draft) => !(Math.abs(draft.inputs.sampleAgeUs) <= draft.safety.staleMs * 1000)),

  eachFinger('invalidRequest', (draft, finger) => {
    const { stops, efforts } = draft.inputs;
    const sound = Number.isFinite(stops[finger]) && Number.isFinite(efforts[finger]) && efforts[finger] >= 0;
    if (!sound) draft.freeFinger(finger, 'invalidRequest');
  }),
  eachFinger('expired', (draft, finger) => {
    if (!(draft.nowUs < draft.inputs.expiresUs[finger])) draft.freeFinger(finger, 'expired');
  }),
  eachFinger('noActuator', (draft, finger) => {
    if (!(draft.lanes[finger].stallTensionN > 0)) draft.freeFinger(finger, 'noActuator');
  }),
  eachFinger('faultyFinger', (draft, finger) => {
    const sound = draft.inputs.healthy[finger] === 1 && Number.isFinite(draft.inputs.curls[finger]);
    if (!sound) draft.freeFinger(finger, 'faultyFinger');
  }),

  eachFinger('notBehindFinger', (draft, finger) => {
    if (draft.safety.allowPull || !draft.lanes[finger].pulls) return;
    const curl = draft.inputs.curls[finger];
    const held = Math.min(draft.lastStops[finger], curl + STOP_CLEARANCE);
    const behind = draft.outputs.stops[finger] < curl;
    const slack = draft.places[finger] > curl + LOAD_MARGIN;
    const floor = Math.max(held, slack ? curl : curl - HOLD_DEPTH);
    draft.raiseStop(finger, floor, behind ? 'notBehindFinger' : undefined);
  }),
  eachFinger('rate', (draft, finger) => {
    const nearest = draft.lastStops[finger] - draft.safety.maxStopRatePerS * draft.stepS;
    draft.raiseStop(finger, nearest, 'rate');
  }),

  eachFinger('tension', (draft, finger) => {
    draft.lowerDrive(finger, draft.lanes[finger].permittedDrive, 'tension');
  }),
  eachFinger('hold', (draft, finger) => {
    const lane = draft.lanes[finger];
    const holdS = draft.holdS[finger];
    const until = draft.resting[finger] === 1 ? REST_TO : 1;
    const effort = lane.heedsEffort ? effortAfterHold(lane, holdS) : holdS <= until * lane.maxHoldS ? 1 : 0;
    if (effort < 1) draft.lowerDrive(finger, effort * lane.permittedDrive, 'hold');
  }),
  eachFinger('heat', (draft, finger) => {
    const lane = draft.lanes[finger];
    const heat = draft.heats[finger];
    const until = draft.resting[finger] === 1 ? REST_TO : 1;
    const drive = lane.heedsEffort ? driveAtHeat(lane, heat) : heat <= until * HEAT_FADE_FROM ? 1 : 0;
    draft.lowerDrive(finger, drive, 'heat');
  }),
  {
    name: 'supply',
    apply(draft) {
      const budgetA = Math.max(0, draft.safety.maxSupplyA - draft.inputs.pulseCurrentA);
      // Drives that cannot be lowered: the least firmly asked for is let go first, of equals the last finger.
      while (!(draft.demandA(false) <= budgetA)) {
        const finger = leastAsked(draft);
        if (finger < 0) break;
        draft.freeFinger(finger, 'supply');
      }
      const demandA = draft.demandA(true);
      const leftA = budgetA - draft.demandA(false);
      if (demandA <= leftA) return;
      // The same share of what each asked for, so that no finger is starved by the others.
      for (let finger = 0; finger < FINGER_COUNT; finger++) {
        if (!draft.lanes[finger].heedsEffort) continue;
        draft.lowerDrive(finger, draft.outputs.drives[finger] * (Math.max(0, leftA) / demandA), 'supply');
      }
    },
  },
];

const perFinger = () => new Float64Array(FINGER_COUNT);

export const makeGovernorOutputs = (): GovernorOutputs => ({
  held: new Uint8Array(FINGER_COUNT),
  stops: perFinger().fill(1),
  efforts: perFinger(),
  drives: perFinger(),
  tensionsN: perFinger(),
  heats: perFinger(),
  limits: new Uint16Array(FINGER_COUNT),
  anyHeld: false,
});

const clamp01 = (value: number) => Math.min(1, Math.max(0, value));

/** State and outputs in the making; the only place that writes outputs. */
class WorkingDraft implements Draft {
  readonly outputs = makeGovernorOutputs();
  readonly events = new EventRing();
  inputs!: GovernorInputs;
  armed = false;
  shut = false;
  nowUs = 0;
  stepS = 0;
  clockJumped = false;
  anyAsked = false;
  readonly lastStops = perFinger().fill(1);
  private readonly motion = new StopMotion();
  readonly places = this.motion.places;
  readonly holdS = perFinger();
  readonly heats = perFinger();
  readonly resting = new Uint8Array(FINGER_COUNT);
  /** Drive squared that worked on each finger since the last step. */
  private readonly loads = perFinger();
  /** 1: the finger was held at more than HOLD_SUSTAINED since the last step. */
  private readonly straining = new Uint8Array(FINGER_COUNT);
  /** When each limit last acted, per finger and for the whole hand. */
  private readonly actedUs = new Float64Array((FINGER_COUNT + 1) * LIMITS.length).fill(
    Number.NEGATIVE_INFINITY,
  );
  private lastUs = Number.NaN;

  readonly lanes: readonly LaneModel[];

  constructor(
    lanes: readonly Lane[],
    readonly safety: SafetyProfile,
  ) {
    this.lanes = lanes.map((lane) => modelOf(lane, safety));
  }

  /** Takes the time, and accounts for what the last step's outputs did until now. */
  begin(nowUs: number, inputs: GovernorInputs): void {
    this.inputs = inputs;
    const passedUs = Number.isNaN(this.lastUs) ? 0 : nowUs - this.lastUs;
    this.clockJumped = !(passedUs >= 0 && passedUs <= MAX_STEP_GAP_US);
    this.stepS = this.clockJumped ? 0 : passedUs / 1e6;
    if (this.clockJumped) this.actedUs.fill(Number.NEGATIVE_INFINITY);
    if (Number.isFinite(nowUs)) this.lastUs = nowUs;
    this.nowUs = nowUs;
    if (passedUs > 0 && Number.isFinite(passedUs)) this.age(passedUs / 1e6);

    const { outputs } = this;
    this.anyAsked = false;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const asked = inputs.efforts[finger] !== 0;
      if (asked) this.anyAsked = true;
      outputs.limits[finger] = 0;
      outputs.held[finger] = asked ? 1 : 0;
      outputs.stops[finger] = asked ? clamp01(inputs.stops[finger]) : 1;
      const lane = this.lanes[finger];
      const drive = lane.heedsEffort ? inputs.efforts[finger] * lane.permittedDrive : 1;
      outputs.drives[finger] = asked ? drive : 0;
    }
  }

  /** Derives the other outputs from stops and drives, and keeps what the next step needs. */
  end(): void {
    const { outputs, inputs } = this;
    outputs.anyHeld = false;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (outputs.held[finger] === 1 && !(outputs.drives[finger] > 0)) this.free(finger);
      const lane = this.lanes[finger];
      const held = outputs.held[finger] === 1;
      const drive = outputs.drives[finger];
      const effort = held ? drive / lane.permittedDrive : 0;
      const atStop = inputs.curls[finger] >= outputs.stops[finger] - LOAD_MARGIN;
      const press = held ? Math.max(atStop ? 1 : 0, inputs.pressing?.[finger] ?? 0) : 0;
      if (held) outputs.anyHeld = true;
      outputs.efforts[finger] = effort;
      outputs.tensionsN[finger] = drive * lane.stallTensionN;
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
      const lane = this.lanes[finger];
      if (lane.heedsEffort === heedsEffort) sumA += this.outputs.drives[finger] * lane.stallCurrentA;
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
    if (!Number.isFinite(drive) || !this.lanes[finger].heedsEffort) {
      this.freeFinger(finger, reason);
      if (reason === 'hold' || reason === 'heat') this.resting[finger] = 1;
      return;
    }
    this.outputs.drives[finger] = Math.max(0, drive);
    const permitted = this.lanes[finger].permittedDrive;
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
      const lane = this.lanes[finger];
      this.motion.follow(finger, this.lastStops[finger], lane.speedCurlPerS, passedS);
      if (this.loads[finger] !== 0 || this.heats[finger] !== 0) {
        const settled = this.loads[finger] * lane.heatGain * lane.coolS;
        const warmed = settled + (this.heats[finger] - settled) * Math.exp(-onS / lane.coolS);
        this.heats[finger] = passedS > onS ? warmed * Math.exp(-(passedS - onS) / lane.coolS) : warmed;
      }

      const used = this.straining[finger] === 1 ? onS - (passedS - onS) : -passedS;
      this.holdS[finger] = Math.min(lane.maxHoldS + HOLD_FADE_S, Math.max(0, this.holdS[finger] + used));
      const rested =
        this.holdS[finger] <= REST_TO * lane.maxHoldS && this.heats[finger] <= REST_TO * HEAT_FADE_FROM;
      if (rested) this.resting[finger] = 0;
    }
  }
}

/** One per glove. Pure: the only clock is the time that is passed in. */
export class Governor {
  /** Written by `step`, `disarm` and `shutdown`; read it, never write it. */
  readonly outputs: GovernorOutputs;
  readonly events: EventRing;
  /** Who armed the glove, or why it is disarmed. */
  reason = 'Not armed since the start.';
  private readonly draft: WorkingDraft;
  private disarmedUs = Number.NEGATIVE_INFINITY;

  /**
   * @param lanes one per finger, in FINGERS order
   * @param guards every guard, in order; tests leave one out to prove that it is needed
   */
  constructor(
    lanes: readonly Lane[],
    safety: SafetyProfile,
    private readonly guards: readonly Guard[] = GUARDS,
  ) {
    this.draft = new WorkingDraft(lanes, safety);
    this.outputs = this.draft.outputs;
    this.events = this.draft.events;
  }

  get armed(): boolean {
    return this.draft.armed;
  }

  get shut(): boolean {
    return this.draft.shut;
  }

  /** Permits force. False when refused: shut down, or disarmed less than REARM_PAUSE_US ago. */
  arm(nowUs: number, by: string): boolean {
    if (this.draft.shut || !(nowUs - this.disarmedUs >= REARM_PAUSE_US)) return false;
    if (!this.draft.armed) this.events.push(nowUs, WHOLE_HAND, 'armed', 0, 0);
    this.draft.armed = true;
    this.reason = by;
    return true;
  }

  /** Forbids force and frees every finger, now. */
  disarm(nowUs: number, reason: string): void {
    this.latch(nowUs, 'disarmed', reason);
  }

  /** As disarm, for ever. */
  shutdown(nowUs: number): void {
    this.draft.shut = true;
    this.latch(nowUs, 'shutdown', 'The service is stopping.');
  }

  /** @param nowUs monotonic; call at every sample, and at least every 20 ms so that silence is noticed */
  step(nowUs: number, inputs: GovernorInputs): GovernorOutputs {
    const { draft } = this;
    draft.begin(nowUs, inputs);
    // Guards only take away from what is given: where nothing is asked, there is nothing to take.
    if (draft.anyAsked) for (const guard of this.guards) guard.apply(draft);
    draft.end();
    return this.outputs;
  }

  private latch(nowUs: number, reason: 'disarmed' | 'shutdown', text: string): void {
    this.draft.armed = false;
    this.draft.freeNow();
    this.disarmedUs = Number.isFinite(nowUs) ? nowUs : this.disarmedUs;
    this.reason = text;
    this.events.push(nowUs, WHOLE_HAND, reason, 0, 0);
  }
}
