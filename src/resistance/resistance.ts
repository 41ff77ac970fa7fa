import type { SafetyProfile } from '../config/schema.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import { type CurlToTravel, paysOutForward } from '../link/wire-stop.js';
import { DISARMED, type Refusal } from '../protocol/refusals.js';
import { ActuatorCommands, fingerDrivesOf, type GloveActuator, stopSpeedsOf } from './actuators.js';
import { arbitrate, makeAsked } from './arbitration.js';
import { Arrivals } from './arrival.js';
import type { EventReader } from './events.js';
import { Governor } from './governor.js';
import type { GovernorInputs } from './governor-step.js';
import { GUARDS, type Guard } from './guards.js';
import { PULSE_EVERYWHERE, PULSE_PALM, Pulses } from './pulses.js';
import { DEFAULT_LAYER, FINGER_COUNT, RequestStore } from './requests.js';
import { PROBE_OPEN, StopProbe } from './stop-probe.js';

/**
 * Everything between what apps ask of one glove and what is sent to it:
 *
 *     request() ─> requests ─> arbitration ─> governor ─> actuator commands ─> the caller's codec
 *                                   curls ─> arrival ──^
 *     probe()   ─> stop probe, in place of all of these while the actuators are fitted ──^
 *     pulse()   ─────────────────────────────────────────> pulses          ─> the caller's codec
 *
 * Pure: time is passed in, and nothing is sent from here. `step` says what is to be sent.
 */

/** The glove frees everything itself when a command is this old, ms: a killed host frees fingers. */
export const VALID_FOR_MS = 150;
/** What is held is sent anew this often, so that two commands may get lost. */
const REFRESH_US = 50_000;
/** Changes smaller than these wait for the next refresh: 0.2 % of the travel, 1 % of the effort. */
const STOP_DEADBAND = 131;
const EFFORT_DEADBAND = 2;
/**
 * A stop that moves away from its finger is sent this soon after the last command: what it waits, a fast finger goes on.
 * A line that carries a sample a millisecond carries a command a millisecond, too.
 */
const YIELD_US = 1000;
const DEFAULT_FREQUENCY_HZ = 150;

/** Room for the most connections that a profile permits by default, with a few layers each. */
const MAX_APPS = 64;
const MAX_LAYERS = 8;

/** What to send now: `commands` with VALID_FOR_MS, the release message, or nothing. */
export type Send = 'nothing' | 'resist' | 'release';

const REFUSALS = {
  disarmed: DISARMED,
  notConnected: { code: 'notSupported', message: 'The glove is not connected or sends no fresh samples.' },
  notANumber: { code: 'badMessage', message: 'A stop, effort or pulse is not a finite number.' },
  tooManyApps: { code: 'tooMany', message: `At most ${MAX_APPS} apps can hold a glove at once.` },
  tooManyLayers: { code: 'tooMany', message: `At most ${MAX_LAYERS} layers an app; release one first.` },
  tooManyPulses: { code: 'tooMany', message: 'More pulses than the actuator may give; ask less often.' },
  fitting: { code: 'notSupported', message: 'The stops are being fitted; no app is served meanwhile.' },
  nothingToPulse: { code: 'notSupported', message: 'The glove has nothing there that can pulse.' },
  notHeld: {
    code: 'notSupported',
    message: 'Without a vibration motor, only a finger that is firmly held can pulse.',
  },
} as const satisfies Record<string, Refusal>;

/** What the wearer and apps are told. One object, rewritten by every step. */
export interface ResistanceStatus {
  timeUs: number;
  armed: boolean;
  /** Who armed the glove, or why it is disarmed. */
  reason: string;
  curls: Float64Array;
  /** 1: held at a stop. */
  held: Uint8Array;
  /** Curl; 1 when free. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum. */
  efforts: Float64Array;
  tensionsN: Float64Array;
  /** Part of the thermal budget used, 0..1. */
  heats: Float64Array;
  /** App that holds the finger; '' when free. */
  apps: string[];
  /** LIMIT_BIT of why less is given than was asked; names by `limitNames`. */
  limits: Uint16Array;
  /** Goes up whenever something above that is worth telling has changed. */
  revision: number;
}

export interface ResistanceOptions {
  safety: SafetyProfile;
  /** The glove's outputs in their order on the wire (`orderAsHello`). */
  actuators: readonly GloveActuator[];
  /** Per actuator, where the string model is known. */
  travel?: readonly (CurlToTravel | undefined)[];
  /** Most commands a second; freeing a finger never waits, and a stop that moves away from its finger hardly. */
  maxSendHz?: number;
  /** For tests that leave one out. */
  guards?: readonly Guard[];
}

export type FingerStops = Partial<Record<Finger, { stopAt: number; effort: number }>>;

/** One per glove. A new one is disarmed and cold, so make one anew only when the actuators are different. */
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
  private readonly stopProbe = new StopProbe();
  private probing = false;
  /** Measured. */
  private readonly curls = new Float64Array(FINGER_COUNT);
  private readonly inputs: GovernorInputs;
  private readonly scratchStops = new Float64Array(FINGER_COUNT);
  private readonly scratchEfforts = new Float64Array(FINGER_COUNT);
  private readonly minSendUs: number;
  /** Per actuator: 1 where a greater wire stop pays string out, -1 where a smaller one does. */
  private readonly paysOut: Int8Array;

  private lastUs = Number.NEGATIVE_INFINITY;
  private fresh = false;
  private readonly sentStops: Uint16Array;
  private readonly sentEfforts: Uint8Array;
  private sentUs = Number.NEGATIVE_INFINITY;
  /** The glove may still hold something that it should not. */
  private mustRelease = true;
  private readonly toldStops = new Float64Array(FINGER_COUNT);
  private readonly toldEfforts = new Float64Array(FINGER_COUNT);
  private readonly toldHeats = new Float64Array(FINGER_COUNT);
  private readonly toldLimits = new Uint16Array(FINGER_COUNT);
  private readonly toldApps = new Array<string>(FINGER_COUNT).fill('');
  private toldArmed = false;

  constructor({ safety, actuators, travel, maxSendHz = 200, guards = GUARDS }: ResistanceOptions) {
    this.safety = safety;
    this.minSendUs = 1e6 / maxSendHz;
    this.paysOut = Int8Array.from(actuators, (actuator) => (actuator && !paysOutForward(actuator) ? -1 : 1));
    this.requests = new RequestStore({
      maxApps: MAX_APPS,
      maxLayers: MAX_LAYERS,
      maxTtlUs: safety.maxTtlMs * 1000,
    });
    const fingerDrives = fingerDrivesOf(actuators);
    this.heedsEffort = fingerDrives.map(({ heedsEffort }) => heedsEffort);
    this.governor = new Governor(fingerDrives, safety, guards);
    this.commands = new ActuatorCommands(actuators, travel);
    this.pulses = new Pulses(actuators, safety);
    this.sentStops = new Uint16Array(this.commands.count);
    this.sentEfforts = new Uint8Array(this.commands.count);
    this.arrivals = new Arrivals(stopSpeedsOf(actuators));
    this.inputs = {
      stops: this.asked.stops,
      efforts: this.asked.efforts,
      expiresUs: this.asked.expiresUs,
      curls: this.arrivals.curls,
      measured: this.curls,
      healthy: new Uint8Array(FINGER_COUNT),
      pressing: new Float64Array(FINGER_COUNT),
      pulseDrives: new Float64Array(FINGER_COUNT),
      pulseCurrentA: 0,
      sampleAgeUs: Number.POSITIVE_INFINITY,
      linkLive: false,
    };
    const { outputs } = this.governor;
    this.status = {
      timeUs: 0,
      armed: false,
      reason: this.governor.reason,
      curls: this.curls,
      held: outputs.held,
      stops: outputs.stops,
      efforts: outputs.efforts,
      tensionsN: outputs.tensionsN,
      heats: outputs.heats,
      apps: new Array<string>(FINGER_COUNT).fill(''),
      limits: outputs.limits,
      revision: 0,
    };
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
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (efforts[finger] === 0) continue;
      if (!Number.isFinite(stops[finger]) || !Number.isFinite(efforts[finger])) return REFUSALS.notANumber;
    }
    const lifeUs = ttlUs ?? this.safety.defaultTtlMs * 1000;
    const outcome = this.requests.set(app, layer, stops, efforts, lifeUs, nowUs);
    if (outcome === 'tooManyApps' || outcome === 'tooManyLayers') return REFUSALS[outcome];
    return undefined;
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

  /** As disarm, for ever. */
  shutdown(nowUs: number): Send {
    this.governor.shutdown(nowUs);
    return this.freed(nowUs);
  }

  /**
   * Checks a pulse; when nothing is returned, send what `pulses` holds.
   * @param target a finger, the palm, or every actuator
   */
  pulse(
    nowUs: number,
    target: Finger | 'palm' | undefined,
    amplitude: number,
    durationMs: number,
    frequencyHz = DEFAULT_FREQUENCY_HZ,
  ): Refusal | undefined {
    if (!this.governor.armed) return REFUSALS.disarmed;
    if (this.probing) return REFUSALS.fitting;
    if (!this.fresh) return REFUSALS.notConnected;
    if (!Number.isFinite(amplitude + durationMs + frequencyHz + nowUs)) return REFUSALS.notANumber;
    const at =
      target === undefined ? PULSE_EVERYWHERE : target === 'palm' ? PULSE_PALM : FINGERS.indexOf(target);
    const { outputs } = this.governor;
    const outcome = this.pulses.accept(
      nowUs,
      at,
      amplitude,
      durationMs,
      frequencyHz,
      outputs,
      this.inputs.healthy,
    );
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
   * @returns what to send; tell `unsent` when that fails
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
    const { inputs, status, governor } = this;
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

    arbitrate(this.requests, this.curls, this.safety.allowPull, nowUs, this.asked);
    this.arrivals.predict(newest, curlRates, this.asked.stops, this.asked.efforts);
    if (this.probing) this.askForProbe(nowUs);
    const given = governor.step(nowUs, inputs);
    const { finger: probed } = this.stopProbe;
    // What a guard has freed does not come back half-way.
    if (probed >= 0 && given.held[probed] !== 1) this.stopProbe.free();
    this.arrivals.move(nowUs, given);
    this.requests.sweep(nowUs);
    this.commands.update(given, this.curls, probed);

    status.timeUs = nowUs;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      status.apps[finger] = given.held[finger] === 1 ? this.asked.apps[finger] : '';
    }
    this.tell();
    return this.decide(nowUs, linkLive);
  }

  /**
   * The probe in place of whatever else is asked. Its finger counts as open for the governor, and as pressing: with all
   * that the drive gives while it is closing, and with the effort asked for while it is open, where the stop is kept
   * short of it.
   */
  private askForProbe(nowUs: number): void {
    const { stopProbe, asked, inputs } = this;
    asked.efforts.fill(0);
    asked.stops.fill(1);
    asked.apps.fill('');
    inputs.pressing?.fill(0);
    const { finger } = stopProbe;
    if (finger < 0) return;
    const curl = this.curls[finger];
    stopProbe.step(nowUs, curl, inputs.healthy[finger] === 1);
    if (stopProbe.finger < 0) return;
    asked.stops[finger] = stopProbe.place;
    asked.efforts[finger] = stopProbe.effort;
    asked.expiresUs[finger] = stopProbe.untilUs;
    const eases = curl < PROBE_OPEN && !this.heedsEffort[finger];
    if (inputs.pressing) inputs.pressing[finger] = eases ? stopProbe.effort : 1;
    // What is not a number stays so, for the governor to see.
    this.arrivals.curls[finger] = Number.isFinite(curl) ? 0 : curl;
  }

  /** The link did not take what the last step said: the next step says it again. */
  unsent(): void {
    this.sentUs = Number.NEGATIVE_INFINITY;
    this.mustRelease = true;
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
    this.requests.dropAll();
    this.endProbing();
    this.commands.free();
    this.pulses.stop();
    this.status.timeUs = nowUs;
    this.status.apps.fill('');
    this.mustRelease = true;
    this.tell();
    return 'release';
  }

  private decide(nowUs: number, linkLive: boolean): Send {
    if (!linkLive) {
      // Whatever the glove held when the link broke: when it is back it hears what is held now, or a release.
      this.mustRelease = true;
      return 'nothing';
    }
    const { stops, efforts, count } = this.commands;
    let holds = false;
    let held = false;
    let freed = false;
    let changed = false;
    let yields = false;
    for (let at = 0; at < count; at++) {
      const sentEffort = this.sentEfforts[at];
      if (efforts[at] > 0) holds = true;
      if (sentEffort > 0) held = true;
      if (efforts[at] === 0 && sentEffort > 0) freed = true;
      if (efforts[at] > 0 !== sentEffort > 0) changed = true;
      if (Math.abs(efforts[at] - sentEffort) >= EFFORT_DEADBAND) changed = true;
      const moved = stops[at] - this.sentStops[at];
      if (Math.abs(moved) >= STOP_DEADBAND) changed = true;
      if (moved * this.paysOut[at] >= STOP_DEADBAND) yields = true;
    }
    if (!holds) {
      if (!held && !this.mustRelease) return 'nothing';
      // A release ends pulses too; where one may go on, an empty command frees the fingers.
      const send = this.mustRelease || !this.pulses.running(nowUs) ? 'release' : 'resist';
      this.sent(nowUs);
      return send;
    }
    const sinceUs = nowUs - this.sentUs;
    const waitUs = yields ? Math.min(YIELD_US, this.minSendUs) : this.minSendUs;
    const due = freed || !(sinceUs < REFRESH_US) || (changed && sinceUs >= waitUs);
    if (!due) return 'nothing';
    this.sent(nowUs);
    return 'resist';
  }

  private sent(nowUs: number): void {
    this.sentStops.set(this.commands.stops);
    this.sentEfforts.set(this.commands.efforts);
    this.sentUs = nowUs;
    this.mustRelease = false;
  }

  /** Raises the revision when the status differs from what was last told by more than a display shows. */
  private tell(): void {
    const { status, governor } = this;
    status.armed = governor.armed;
    status.reason = governor.reason;
    let changed = this.toldArmed !== status.armed;
    for (let finger = 0; finger < FINGER_COUNT && !changed; finger++) {
      changed =
        status.limits[finger] !== this.toldLimits[finger] ||
        status.apps[finger] !== this.toldApps[finger] ||
        Math.abs(status.stops[finger] - this.toldStops[finger]) > 0.002 ||
        Math.abs(status.efforts[finger] - this.toldEfforts[finger]) > 0.005 ||
        Math.abs(status.heats[finger] - this.toldHeats[finger]) > 0.02;
    }
    if (!changed) return;
    status.revision++;
    this.toldArmed = status.armed;
    this.toldLimits.set(status.limits);
    this.toldStops.set(status.stops);
    this.toldEfforts.set(status.efforts);
    this.toldHeats.set(status.heats);
    for (let finger = 0; finger < FINGER_COUNT; finger++) this.toldApps[finger] = status.apps[finger];
  }
}
