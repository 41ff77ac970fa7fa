import type { SafetyProfile } from '../config/schema.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import type { CurlToTravel } from '../link/wire-stop.js';
import type { Refusal } from '../protocol/refusals.js';
import { ActuatorCommands, fingerDrivesOf, type GloveActuator, stopSpeedsOf } from './actuators.js';
import { arbitrate, makeAsked } from './arbitration.js';
import { Arrivals } from './arrival.js';
import type { EventReader } from './events.js';
import { Governor } from './governor.js';
import { type GovernorInputs, makeGovernorInputs } from './governor-step.js';
import { GraspHold } from './grasp-hold.js';
import { GUARDS, type Guard } from './guards.js';
import { KNOCK_LAYER } from './knocks.js';
import { PULSE_EVERYWHERE, PULSE_PALM, Pulses } from './pulses.js';
import { MAX_APPS, MAX_LAYERS, REFUSALS } from './refusals.js';
import { DEFAULT_LAYER, FINGER_COUNT, RequestStore } from './requests.js';
import { type Send, SendSchedule } from './send-schedule.js';
import { type ResistanceStatus, StatusKeeper } from './status.js';
import { askForProbe, StopProbe } from './stop-probe.js';
import { FEEL_TRIAL, type WearerFeel } from './wearer-feel.js';

/**
 * Everything between what apps ask of one glove and what is sent to it:
 *
 *     request() ─> requests ─> arbitration ─> governor ─> actuator commands ─> the caller's codec
 *                                   curls ─> arrival ──^
 *     probe()   ─> stop probe, in place of all of these while the actuators are fitted ──^
 *     pulse()   ─────────────────────────────────────────> pulses          ─> the caller's codec
 *                 └─> knock, grasp hold ─> requests
 *
 * Pure: time is passed in, and nothing is sent from here. `step` says what is to be sent.
 */

const DEFAULT_FREQUENCY_HZ = 150;

export interface ResistanceOptions {
  safety: SafetyProfile;
  /** The glove's outputs in their order on the wire (`orderAsHello`). */
  actuators: readonly GloveActuator[];
  /** Per actuator, where the string model is known. */
  travel?: readonly (CurlToTravel | undefined)[];
  /** Most commands a second; freeing a finger never waits, and a stop that moves away from its finger hardly. */
  maxSendHz?: number;
  /** Effort of a grasp hold (grasp-hold.ts); none: there is no such hold. */
  graspEffort?: number | undefined;
  /** How the wearer wants forces to feel: it takes away from what apps ask for. */
  wearer?: WearerFeel;
  /** For tests that leave one out. */
  guards?: readonly Guard[];
}

export type FingerStops = Partial<Record<Finger, { stopAt: number; effort: number }>>;

/** One per glove. A new one is disarmed and cold, so make another only for other actuators. */
export class Resistance {
  readonly status: ResistanceStatus;
  /** What `resist` is to send. */
  readonly commands: ActuatorCommands;
  /** What an accepted `pulse` is to send. */
  readonly pulses: Pulses;
  private readonly safety: SafetyProfile;
  private readonly requests: RequestStore;
  private readonly governor: Governor;
  private readonly asked = makeAsked();
  private readonly arrivals: Arrivals;
  private readonly heedsEffort: readonly boolean[];
  private readonly grasp: GraspHold | undefined;
  private readonly stopProbe = new StopProbe();
  private probing = false;
  /** Measured. */
  private readonly curls = new Float64Array(FINGER_COUNT);
  private readonly inputs: GovernorInputs;
  private readonly scratchStops = new Float64Array(FINGER_COUNT);
  private readonly scratchEfforts = new Float64Array(FINGER_COUNT);
  private readonly wearer: WearerFeel;
  private readonly wantedEfforts = new Float64Array(FINGER_COUNT);
  /** A trial of feel is under way: nobody else is heard. */
  private trying = false;
  private readonly schedule: SendSchedule;
  private readonly statusKeeper: StatusKeeper;

  private lastUs = Number.NEGATIVE_INFINITY;
  private fresh = false;

  constructor(options: ResistanceOptions) {
    const { safety, actuators, travel, maxSendHz = 200, guards = GUARDS, graspEffort } = options;
    this.safety = safety;
    this.wearer = options.wearer ?? {};
    this.requests = new RequestStore({
      maxApps: MAX_APPS,
      maxLayers: MAX_LAYERS,
      maxTtlUs: safety.maxTtlMs * 1000,
    });
    const fingerDrives = fingerDrivesOf(actuators);
    this.heedsEffort = fingerDrives.map(({ heedsEffort }) => heedsEffort);
    const holds = fingerDrives.filter((drive) => drive.stallTensionN > 0).map((drive) => drive.maxHoldS);
    const maxHoldS = Math.min(...holds, Number.MAX_VALUE);
    this.grasp = graspEffort === undefined ? undefined : new GraspHold(graspEffort, maxHoldS);
    this.governor = new Governor(fingerDrives, safety, guards);
    this.commands = new ActuatorCommands(actuators, travel);
    this.pulses = new Pulses(actuators, safety);
    this.schedule = new SendSchedule(this.commands, actuators, maxSendHz);
    this.arrivals = new Arrivals(stopSpeedsOf(actuators));
    this.inputs = makeGovernorInputs(this.asked, this.arrivals.curls, this.curls);
    this.statusKeeper = new StatusKeeper(this.governor, this.curls);
    this.status = this.statusKeeper.status;
  }

  get armed(): boolean {
    return this.governor.armed;
  }

  /**
   * Replaces what an app asks for on a layer. Allocates nothing, so a contact solver may call it per sample.
   * @param stops curl per finger
   * @param efforts 0..1 of the permitted maximum per finger; 0: free
   * @param ttlUs life, at most the profile's; its default when undefined
   */
  request(
    app: string,
    layer: string,
    stops: ArrayLike<number>,
    efforts: ArrayLike<number>,
    ttlUs: number | undefined,
    nowUs: number,
  ): Refusal | undefined {
    if (!this.governor.armed) return REFUSALS.disarmed;
    if (this.probing) return REFUSALS.fitting;
    if (this.trying && app !== FEEL_TRIAL) return REFUSALS.trying;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (efforts[finger] === 0) continue;
      if (!Number.isFinite(stops[finger]) || !Number.isFinite(efforts[finger])) return REFUSALS.notANumber;
    }
    const lifeUs = ttlUs ?? this.safety.defaultTtlMs * 1000;
    const outcome = this.requests.set(app, layer, stops, this.wanted(app, efforts), lifeUs, nowUs);
    if (outcome === 'tooManyApps' || outcome === 'tooManyLayers') return REFUSALS[outcome];
    return undefined;
  }

  /** What is left of efforts as the wearer wants them; of a trial, all. */
  private wanted(app: string, efforts: ArrayLike<number>): ArrayLike<number> {
    const { effort = 1 } = this.wearer;
    if (effort === 1 || app === FEEL_TRIAL) return efforts;
    for (let finger = 0; finger < FINGER_COUNT; finger++)
      this.wantedEfforts[finger] = efforts[finger] * effort;
    return this.wantedEfforts;
  }

  /** While the wearer tries how forces feel, requests of apps are forgotten and refused. */
  set trial(under: boolean) {
    if (under === this.trying) return;
    this.trying = under;
    this.grasp?.end(this.requests);
    this.requests.dropAll();
    this.pulses.stop();
  }

  /** Free strings are to be paid out otherwise: the glove hears it with the next step. */
  repeatFree(): void {
    this.schedule.requireRelease();
  }

  /** The same, for a message that names fingers; the others are free. */
  requestFingers(
    app: string,
    fingers: FingerStops,
    ttlMs: number | undefined,
    nowUs: number,
    layer = DEFAULT_LAYER,
  ): Refusal | undefined {
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const asked = fingers[FINGERS[finger]];
      this.scratchStops[finger] = asked ? asked.stopAt : 1;
      this.scratchEfforts[finger] = asked ? asked.effort : 0;
    }
    const ttlUs = ttlMs === undefined ? undefined : ttlMs * 1000;
    return this.request(app, layer, this.scratchStops, this.scratchEfforts, ttlUs, nowUs);
  }

  /** Drops one layer of an app, or all of them. */
  drop(app: string, layer?: string): void {
    if (layer === undefined && this.grasp?.app === app) this.grasp.end(this.requests);
    if (layer === undefined) this.requests.drop(app);
    else this.requests.dropLayer(app, layer);
  }

  /** Permits force; no request from before counts. False when refused (see Governor.arm). */
  arm(nowUs: number, by: string): boolean {
    if (!this.governor.armed) this.requests.dropAll();
    return this.governor.arm(nowUs, by);
  }

  /** Begins to fit stops: requests of apps are forgotten and refused until it ends. False when disarmed. */
  beginProbing(): boolean {
    if (!this.governor.armed) return false;
    this.grasp?.end(this.requests);
    this.requests.dropAll();
    this.pulses.stop();
    this.stopProbe.free();
    this.probing = true;
    return true;
  }

  endProbing(): void {
    this.probing = false;
    this.stopProbe.free();
    this.inputs.pressing?.fill(0);
  }

  /**
   * Asks for one finger's stop in wire space, within what StopProbe permits; every other finger is free. Renew it
   * with every sample. Nothing happens unless probing has begun.
   * @param target payout, 0 (wound up)..1; see stop-probe.ts
   * @param effort 0: free
   */
  probe(finger: number, target: number, effort: number, nowUs: number): void {
    if (!this.probing || !this.governor.armed) return;
    this.stopProbe.ask(finger, target, effort, nowUs + this.safety.defaultTtlMs * 1000);
  }

  /** Payout that the probed finger's stop has been told to be at; NaN while none is held. */
  get probed(): number {
    return this.stopProbe.finger < 0 ? Number.NaN : this.stopProbe.place;
  }

  /** Frees every finger and forgets every request. Send what it returns at once. */
  disarm(nowUs: number, reason: string): Send {
    this.governor.disarm(nowUs, reason);
    return this.freed(nowUs);
  }

  /** As disarm, and nothing arms it again. */
  shutdown(nowUs: number): Send {
    this.governor.shutdown(nowUs);
    return this.freed(nowUs);
  }

  /**
   * Checks a pulse; when nothing is returned, send what `pulses` holds, and step: fingers may be held now.
   * @param target a finger, the palm, or every actuator
   * @param by the app; what it holds by this goes when the app goes
   * @param grasps it is of an application that only vibrates: its fingers may be held for it
   */
  pulse(
    nowUs: number,
    target: Finger | 'palm' | undefined,
    amplitude: number,
    durationMs: number,
    frequencyHz = DEFAULT_FREQUENCY_HZ,
    by = '',
    grasps = false,
  ): Refusal | undefined {
    const at =
      target === undefined ? PULSE_EVERYWHERE : target === 'palm' ? PULSE_PALM : FINGERS.indexOf(target);
    // To stop needs no permission.
    if (amplitude <= 0 || durationMs <= 0) {
      this.pulses.end(nowUs, at);
      this.requests.dropLayer(by, KNOCK_LAYER);
      return undefined;
    }
    if (!this.governor.armed) return REFUSALS.disarmed;
    if (this.probing) return REFUSALS.fitting;
    if (this.trying && by !== FEEL_TRIAL) return REFUSALS.trying;
    if (!this.fresh) return REFUSALS.notConnected;
    if (!Number.isFinite(amplitude + durationMs + frequencyHz + nowUs)) return REFUSALS.notANumber;
    const { pulses, curls } = this;
    const { healthy } = this.inputs;
    const given = this.governor.outputs;
    const grasped = grasps && this.grasp?.vibrated(by, nowUs, curls) === true;
    const part = by === FEEL_TRIAL ? 1 : (this.wearer.knock ?? 1);
    const [strength, lengthMs] = [amplitude * part, durationMs * part];
    const outcome = pulses.accept(nowUs, at, strength, lengthMs, frequencyHz, given, healthy, curls);
    if (pulses.knocked) {
      const { stops, efforts, endsUs } = pulses.knocks;
      const set = this.requests.set(by, KNOCK_LAYER, stops, efforts, endsUs - nowUs, nowUs);
      if (set === 'tooManyApps' || set === 'tooManyLayers') return REFUSALS[set];
    }
    if (grasped) return undefined;
    if (outcome === 'nothingThere') return REFUSALS.nothingToPulse;
    if (outcome === 'notHeld') return REFUSALS.notHeld;
    if (outcome === 'tooMany') return REFUSALS.tooManyPulses;
    return undefined;
  }

  /**
   * Call at every sample, and every 20 ms besides, so that silence and expiry are noticed.
   * @param nowUs host monotonic time
   * @param curls per finger, 0..1
   * @param fingerOk per finger, 1 while its channels are healthy
   * @param sampleTimeUs host time of the newest sample
   * @param curlRates curl a second per finger, to see where a finger will be when its servo has arrived
   * @param newest curls without a filter's delay, never less than `curls`: stops are kept clear of these
   * @returns what to send; call `unsent` when that fails
   */
  step(
    nowUs: number,
    curls: ArrayLike<number>,
    fingerOk: ArrayLike<number>,
    sampleTimeUs: number,
    linkLive: boolean,
    curlRates?: ArrayLike<number>,
    newest: ArrayLike<number> = curls,
  ): Send {
    const { inputs, asked, governor, stopProbe } = this;
    // A clock that went back would let requests live too long.
    if (!(nowUs >= this.lastUs)) this.requests.dropAll();
    this.lastUs = nowUs;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      this.curls[finger] = curls[finger];
      inputs.healthy[finger] = fingerOk[finger] === 1 ? 1 : 0;
    }
    inputs.sampleAgeUs = nowUs - sampleTimeUs;
    inputs.linkLive = linkLive;
    inputs.pulseCurrentA = this.pulses.currentA(nowUs);
    this.pulses.drivesOf(nowUs, inputs.pulseDrives);
    this.fresh = linkLive && Math.abs(inputs.sampleAgeUs) <= this.safety.staleMs * 1000;

    this.grasp?.step(nowUs, this.curls, governor.armed && this.fresh && !this.probing, this.requests);
    arbitrate(this.requests, this.curls, this.safety.allowPull, nowUs, asked);
    this.arrivals.predict(newest, curlRates, asked.stops, asked.efforts);
    if (this.probing) askForProbe(stopProbe, nowUs, this.curls, this.heedsEffort, asked, inputs);
    const given = governor.step(nowUs, inputs);
    this.grasp?.given(given);
    const { finger: probed } = stopProbe;
    // What a guard has freed does not come back half-way.
    if (probed >= 0 && given.held[probed] !== 1) stopProbe.free();
    this.arrivals.move(nowUs, given);
    this.requests.sweep(nowUs);
    this.commands.update(given, this.curls, probed);

    this.statusKeeper.update(nowUs, asked.apps);
    return this.schedule.next(nowUs, linkLive, this.pulses.running(nowUs));
  }

  /** The link did not take what the last step said: the next step says it again. */
  unsent(): void {
    this.schedule.unsent();
  }

  /** How often each of EVENT_REASONS has come. */
  get eventTotals(): Float64Array {
    return this.governor.events.totals;
  }

  /** Hands out every intervention since the last call, oldest first. */
  drainEvents(read: EventReader): void {
    this.governor.events.drain(read);
  }

  /** Hands out the newest interventions from number `since` on and takes none; returns the number of the next. */
  eventsSince(since: number, read: EventReader): number {
    return this.governor.events.readSince(since, read);
  }

  private freed(nowUs: number): Send {
    this.grasp?.end(this.requests);
    this.requests.dropAll();
    this.endProbing();
    this.commands.free();
    this.pulses.stop();
    this.statusKeeper.freed(nowUs);
    this.schedule.requireRelease();
    return 'release';
  }
}
