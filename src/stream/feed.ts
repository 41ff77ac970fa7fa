import type { Logger } from 'pino';
import type { Glove, HandFrame } from '../glove/glove.js';
import { logEvent } from '../log/events.js';
import type { ServerMessageOf, StreamName } from '../protocol/messages.js';
import { Broadcast, type Reader } from './broadcast.js';
import { Decimator, grantRate } from './decimator.js';
import { type PoseOptions, Poses } from './poses.js';
import { Throttle } from './throttle.js';
import { frameText } from './websocket-frame.js';

/** What one app subscribes to of a hand. */
export interface Wanted extends PoseOptions {
  streams: readonly StreamName[];
  /** 0: every sample. */
  rateHz: number;
}

const RESISTANCE_PERIOD_MS = 1000 / 60;
/** For display: a screen shows no more. Recordings hold every sample. */
const SIGNALS_PERIOD_MS = 1000 / 60;
/** Verdicts settle over many samples; ten a second is more than anyone can read. */
const HEALTH_PERIOD_MS = 100;
const HEALTH_REPEAT_MS = 1000;

/** Readers at one rate. */
interface RateGroup {
  readonly rateHz: number;
  readonly decimator: Decimator;
  readonly poses: Poses[];
  readonly inputs: Inputs;
}

interface Inputs {
  readonly out: Broadcast;
  readonly throttle: Throttle;
  seq: number;
}

/**
 * Everything that is sent about one glove:
 *
 *   glove.frame -> decimator of each rate -> poses of each (encoding, velocities, prediction) -> readers
 *   glove.inputs, resistance, health, signals, gestures -> throttle -> text, once -> readers
 */
export class Feed {
  readonly #rates: RateGroup[] = [];
  readonly #resistance = new Broadcast();
  readonly #health = new Broadcast();
  readonly #signals = new Broadcast();
  readonly #gestures = new Broadcast();
  readonly #resistanceThrottle: Throttle;
  readonly #healthThrottle: Throttle;
  readonly #signalsThrottle: Throttle;
  readonly #gesturesThrottle: Throttle;
  readonly #healthTimer: NodeJS.Timeout;
  readonly #unlisten: () => void;
  #timeUs = Number.NEGATIVE_INFINITY;
  #badPoses = 0;
  #wasValid = false;
  #sampleRateHz: number;
  #hand: string;

  /** @param described called when the glove has changed */
  constructor(
    readonly glove: Glove,
    readonly logger: Logger,
    described: (feed: Feed) => void,
  ) {
    this.#sampleRateHz = glove.description.sampleRateHz;
    this.#hand = glove.description.hand;
    this.#resistanceThrottle = new Throttle(RESISTANCE_PERIOD_MS, () => {
      // Read even without readers, so that old events do not wait for the first one.
      const body = glove.readResistance();
      const message: ServerMessageOf<'resistance'> = { type: 'resistance', ...body };
      this.#resistance.publish(frameText(JSON.stringify(message)));
    });
    this.#healthThrottle = new Throttle(HEALTH_PERIOD_MS, () => {
      if (this.#health.readers.length === 0) return;
      const message: ServerMessageOf<'health'> = { type: 'health', ...glove.readHealth() };
      this.#health.publish(frameText(JSON.stringify(message)));
    });
    this.#signalsThrottle = new Throttle(SIGNALS_PERIOD_MS, () => {
      const message: ServerMessageOf<'signals'> = { type: 'signals', ...glove.readSignals() };
      this.#signals.publish(frameText(JSON.stringify(message)));
    });
    this.#gesturesThrottle = new Throttle(0, () => {
      if (this.#gestures.readers.length === 0) return;
      const message: ServerMessageOf<'gestures'> = { type: 'gestures', ...glove.readGestures() };
      this.#gestures.publish(frameText(JSON.stringify(message)));
    });
    this.#healthTimer = setInterval(() => this.#healthThrottle.request(), HEALTH_REPEAT_MS);
    this.#unlisten = glove.listen({
      frame: (frame) => this.#frame(frame),
      described: () => {
        this.#startOver();
        for (const { poses } of this.#rates) for (const one of poses) one.describe();
        described(this);
      },
      health: () => this.#healthThrottle.request(),
      resistance: () => this.#resistanceThrottle.request(),
      gestures: () => this.#gesturesThrottle.request(),
      inputs: () => {
        for (const { inputs } of this.#rates) {
          if (inputs.out.readers.length > 0) inputs.throttle.request();
        }
      },
    });
  }

  /** Rate that a request for `rateHz` (0: every sample) gets; 0 when the glove has not said its own yet. */
  granted(rateHz: number): number {
    return grantRate(rateHz, this.glove.description.sampleRateHz);
  }

  /** Adds a reader to what it wants; `remove` undoes it. Current state is sent at once, poses as they come. */
  add(reader: Reader, wanted: Wanted): void {
    if (wanted.streams.includes('joints')) {
      const poses = this.#posesFor(wanted);
      poses.out.add(reader);
      // A silent glove gives no frames: the app must still learn that there is no hand.
      if (!this.glove.frame.valid) this.#tellSilence(poses, reader);
    }
    if (wanted.streams.includes('inputs')) {
      const { inputs } = this.#rateFor(wanted.rateHz);
      inputs.out.add(reader);
      inputs.throttle.request();
    }
    if (wanted.streams.includes('resistance')) {
      this.#resistance.add(reader);
      this.#resistanceThrottle.request();
    }
    if (wanted.streams.includes('signals')) this.#signals.add(reader);
    if (wanted.streams.includes('gestures')) {
      this.#gestures.add(reader);
      this.#gesturesThrottle.request();
    }
    if (wanted.streams.includes('health')) {
      this.#health.add(reader);
      this.#healthThrottle.request();
    }
  }

  remove(reader: Reader): void {
    this.#resistance.remove(reader);
    this.#health.remove(reader);
    this.#signals.remove(reader);
    this.#gestures.remove(reader);
    for (let r = this.#rates.length - 1; r >= 0; r--) {
      const { poses, inputs } = this.#rates[r];
      inputs.out.remove(reader);
      for (let p = poses.length - 1; p >= 0; p--) {
        poses[p].out.remove(reader);
        if (poses[p].out.readers.length === 0) poses.splice(p, 1);
      }
      if (poses.length === 0 && inputs.out.readers.length === 0) {
        inputs.throttle.stop();
        this.#rates.splice(r, 1);
      }
    }
  }

  /** Whether the glove's side or rate changed since the last call: its readers must be regrouped. */
  outdated(): boolean {
    const { hand, sampleRateHz } = this.glove.description;
    const changed = hand !== this.#hand || sampleRateHz !== this.#sampleRateHz;
    this.#hand = hand;
    this.#sampleRateHz = sampleRateHz;
    return changed;
  }

  /** Another source for the same hand, such as a replay: its times may lie before the last one. */
  #startOver(): void {
    if (this.glove.frame.timeUs >= this.#timeUs) return;
    this.#timeUs = Number.NEGATIVE_INFINITY;
    this.#sampleRateHz = Number.NaN;
  }

  /** Arming changed: tell it without waiting for the glove's next event. */
  armedChanged(): void {
    this.#resistanceThrottle.request();
  }

  close(): void {
    this.#unlisten();
    clearInterval(this.#healthTimer);
    this.#healthThrottle.stop();
    this.#signalsThrottle.stop();
    this.#gesturesThrottle.stop();
    this.#resistanceThrottle.stop();
    for (const { inputs } of this.#rates) inputs.throttle.stop();
  }

  #frame(frame: HandFrame): void {
    const timeUs = this.#stamp(frame);
    if (this.#signals.readers.length > 0) this.#signalsThrottle.request();
    if (frame.valid !== this.#wasValid) {
      this.#wasValid = frame.valid;
      this.#gesturesThrottle.request();
    }
    for (let r = 0; r < this.#rates.length; r++) {
      const { decimator, poses } = this.#rates[r];
      if (!decimator.take(timeUs) && frame.valid) continue;
      for (let p = 0; p < poses.length; p++) {
        if (!poses[p].publish(frame, timeUs, decimator.every ? frame.skipped : 0)) this.#reportBadPose();
      }
    }
  }

  /** Whole µs, always increasing for every reader, also when a silence is told between two samples. */
  #stamp(frame: HandFrame): number {
    this.#timeUs = Math.max(Math.round(frame.timeUs), this.#timeUs + 1);
    return this.#timeUs;
  }

  #tellSilence(poses: Poses, reader: Reader): void {
    const { frame } = this.glove;
    if (poses.out.message) reader.offer(poses.out);
    else if (!poses.publish(frame, this.#stamp(frame))) this.#reportBadPose();
  }

  #reportBadPose(): void {
    this.#badPoses++;
    if ((this.#badPoses & (this.#badPoses - 1)) !== 0) return;
    const hand = this.glove.description.hand;
    logEvent(this.logger, 'pose.notFinite', { hand, count: this.#badPoses });
  }

  #rateFor(askedHz: number): RateGroup {
    const { sampleRateHz } = this.glove.description;
    const rateHz = this.granted(askedHz);
    let group = this.#rates.find((rate) => rate.rateHz === rateHz);
    if (!group) {
      const every = rateHz === 0 || rateHz === sampleRateHz;
      group = {
        rateHz,
        decimator: new Decimator(every ? 0 : rateHz, sampleRateHz),
        poses: [],
        inputs: this.#inputs(every ? 0 : 1000 / rateHz),
      };
      this.#rates.push(group);
    }
    return group;
  }

  #inputs(periodMs: number): Inputs {
    const inputs: Inputs = {
      out: new Broadcast(),
      seq: 0,
      throttle: new Throttle(periodMs, () => {
        const body = this.glove.readInputs();
        const timeUs = Math.round(body.timeUs);
        const message: ServerMessageOf<'inputs'> = { type: 'inputs', seq: inputs.seq, ...body, timeUs };
        inputs.seq = (inputs.seq + 1) >>> 0;
        inputs.out.publish(frameText(JSON.stringify(message)));
      }),
    };
    return inputs;
  }

  #posesFor(wanted: Wanted): Poses {
    const { poses } = this.#rateFor(wanted.rateHz);
    let found = poses.find(
      ({ options }) =>
        options.encoding === wanted.encoding &&
        options.velocities === wanted.velocities &&
        options.surface === wanted.surface &&
        options.predictMs === wanted.predictMs,
    );
    if (!found) {
      found = new Poses(this.glove, wanted);
      poses.push(found);
    }
    return found;
  }
}
