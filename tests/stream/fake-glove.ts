import type { Glove, GloveDescription, GloveListener, HandFrame } from '../../src/glove/glove.js';
import { FINGERS, type HandSide, JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import type { LinkStatus } from '../../src/link/link.js';
import { GESTURES, type GestureName } from '../../src/protocol/constants.js';
import type { EventReason } from '../../src/protocol/limits.js';
import type { Refusal } from '../../src/protocol/refusals.js';
import type { WhoArms } from '../../src/resistance/governor.js';

/** A glove whose samples come when the test says so; it keeps a list of what it was asked. */
export class FakeGlove implements Glove {
  /** What rest() gives. */
  pressures = [0, 0.25, 0.5, 0, 0];
  /** Of its channel; the number of samples until it is set. */
  counts: number | undefined;
  description: GloveDescription;
  readonly fitsInUse = {};
  readonly rememberDrift = () => [];
  linkStatus: LinkStatus = { state: 'live', address: 'test' };
  connected = true;
  armed = false;
  readonly recorded = false;
  readonly frame: HandFrame;
  readonly calls: unknown[][] = [];
  refusal: Refusal | undefined;
  armRefusal: Refusal | undefined;
  values: Record<string, number | boolean> = {};
  readonly gestures = new Set<GestureName>();
  events: { timeUs: number; reason: EventReason }[] = [];
  readonly listeners = new Set<GloveListener>();
  #count = 0;
  #wake: () => void = () => {};

  constructor(hand: HandSide = 'right', sampleRateHz = 500) {
    this.description = {
      hand,
      name: `${hand} test glove`,
      sampleRateHz,
      channels: [{ role: 'index.curl', bits: 12 }],
      actuators: [{ role: 'index', kind: 'stringStop' }],
      skeleton: createSkeleton({ side: hand }),
      inputPaths: [`/user/hand/${hand}/input/trigger/value`],
      howToArm: 'squeeze the test glove',
    };
    this.frame = {
      timeUs: 0,
      valid: true,
      reason: undefined,
      space: 'wrist',
      fingerStates: Uint8Array.from([2, 2, 1, 0, 2]),
      poses: Float64Array.from(this.description.skeleton.restPoses),
      velocities: new Float64Array(JOINT_COUNT * VELOCITY_STRIDE),
      skipped: 0,
      shownLaterUs: 0,
    };
  }

  /** One sample at this time: a pose that differs from every other. */
  sample(timeUs: number): void {
    this.#count++;
    const { frame } = this;
    frame.timeUs = timeUs;
    frame.valid = true;
    frame.reason = undefined;
    for (let i = 0; i < frame.poses.length; i++) frame.poses[i] = Math.sin(this.#count * 0.37 + i);
    for (let i = 0; i < frame.velocities.length; i++) frame.velocities[i] = Math.cos(this.#count + i) * 9;
    for (const listener of this.listeners) listener.frame?.(frame);
  }

  /** One sample at this time: the pose that was, or what the test has made of it. */
  still(timeUs: number): void {
    this.frame.timeUs = timeUs;
    for (const listener of this.listeners) listener.frame?.(this.frame);
  }

  silence(timeUs: number, reason: string): void {
    Object.assign(this.frame, { timeUs, valid: false, reason });
    for (const listener of this.listeners) listener.frame?.(this.frame);
  }

  tell(event: 'described' | 'health' | 'resistance' | 'inputs' | 'gestures'): void {
    for (const listener of this.listeners) listener[event]?.();
  }

  /** Resolves with the first call of this name, past or to come. */
  async called(name: string): Promise<unknown[]> {
    for (;;) {
      const call = this.calls.find(([first]) => first === name);
      if (call) return call;
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
  }

  listen(listener: GloveListener): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
  readSignals() {
    const { hand } = this.description;
    return {
      hand,
      timeUs: this.frame.timeUs,
      counts: [this.counts ?? this.#count],
      values: [0.5],
      curls: [0, 0.5, 0, 0, 0],
    };
  }
  rest(aheadS: number, poses: Float64Array, pressures: Float64Array): void {
    this.predict(aheadS, poses);
    pressures.set(this.pressures);
  }

  predict(aheadS: number, poses: Float64Array): void {
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      for (let i = 0; i < POSE_STRIDE; i++) {
        const at = joint * POSE_STRIDE + i;
        const speed = i < 3 ? this.frame.velocities[joint * VELOCITY_STRIDE + i] : 0;
        poses[at] = this.frame.poses[at] + speed * aheadS;
      }
    }
  }
  readInputs() {
    return { hand: this.description.hand, timeUs: this.frame.timeUs, values: { ...this.values } };
  }
  readGestures(): ReturnType<Glove['readGestures']> {
    const { hand } = this.description;
    return {
      hand,
      timeUs: this.frame.timeUs,
      valid: this.frame.valid,
      states: Object.fromEntries(
        GESTURES.map((name) => [
          name,
          { active: this.gestures.has(name), ...(this.gestures.has(name) ? { sinceUs: 5 } : {}) },
        ]),
      ) as ReturnType<Glove['readGestures']>['states'],
      touches: [],
    };
  }
  readMetrics() {
    return {
      counters: { bytes: 900, frames: 70, badCrc: 3, malformed: 2, oversize: 1, unknownType: 0, lost: 4 },
      clock: { offsetUs: 0, driftPpm: 1, jitterUs: 120, roundTripUs: 1500, resets: 1, batchMs: 0 },
      rateHz: this.description.sampleRateHz,
      poses: this.#count,
      releases: 2,
      interventions: { tension: 5, rate: 0 },
    };
  }
  readHealth() {
    return {
      hand: this.description.hand,
      timeUs: this.frame.timeUs,
      link: { state: this.linkStatus.state, address: this.linkStatus.address },
      channels: [{ role: 'index.curl' as const, verdict: 'healthy', counts: 2048, value: 0.5 }],
      rateHz: this.description.sampleRateHz,
      lost: 0,
      faults: [],
      wrist: { source: 'app' as const, app: 'workshop', of: 'wrist' as const, ageMs: 4, jitterMm: 0.5 },
    };
  }
  readFromUse() {
    return undefined;
  }

  readTroubles() {
    return [];
  }
  recordResistance() {
    return this.readResistance();
  }

  readResistance() {
    const events = this.events.splice(0);
    return {
      hand: this.description.hand,
      timeUs: this.frame.timeUs,
      armed: this.armed,
      fingers: Object.fromEntries(
        FINGERS.map((finger) => [finger, { curl: 0.5, effort: 0, tensionN: 0, heat: 0, limits: [] }]),
      ),
      ...(events.length > 0 ? { events } : {}),
    };
  }
  resist(...call: unknown[]) {
    this.#note('resist', ...call);
    return this.refusal;
  }
  touch(...call: unknown[]) {
    this.#note('touch', ...call);
    return this.refusal;
  }
  pulse(...call: unknown[]) {
    this.#note('pulse', ...call);
    return this.refusal;
  }
  release(...call: unknown[]) {
    this.#note('release', ...call);
  }
  drop(app: string) {
    this.#note('drop', app);
  }
  track(...call: unknown[]) {
    this.#note('track', ...call);
    return {};
  }
  rezero(by: string) {
    this.#note('rezero', by);
  }
  arm(by: string, who: WhoArms): Refusal | undefined {
    this.#note('arm', by, who);
    if (this.armRefusal) return this.armRefusal;
    this.armed = true;
    this.tell('resistance');
    return undefined;
  }
  disarm(by: string, who: WhoArms) {
    this.armed = false;
    this.#note('disarm', by, who);
    this.tell('resistance');
  }

  #note(...call: unknown[]): void {
    this.calls.push(call);
    this.#wake();
  }
}
