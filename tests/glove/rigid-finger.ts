import { pino } from 'pino';
import type { Clock } from '../../src/clock.js';
import type { Profile } from '../../src/config/schema.js';
import { createGlove } from '../../src/glove/glove.js';
import { FINGERS } from '../../src/hand/joints.js';
import type { Hello } from '../../src/link/codec.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import type { Link, LinkEvents } from '../../src/link/link.js';
import { MAX_ACTUATORS, PROTOCOL_VERSION, STOP_FREE, STOP_MAX } from '../../src/protocol/link-table.js';
import { HOST_RANGE } from '../end-to-end/turned-chain.js';

/*
 * The service's whole chain for a glove whose index finger goes where it wants to, as if no servo could hold it: what is
 * looked at is where its stop is told to be meanwhile. Time is turned by hand, so the same on every machine.
 */

export interface RigidGlove {
  /** On the way, each way, ms. */
  latencyMs: number;
  rateHz: number;
  /** Between two pulses of a servo, ms; 0: it heeds every command at once. */
  pulseMs: number;
  /** Standard deviation of a reading, counts of 12 bits. */
  noiseCounts: number;
  seed: number;
}

export interface RigidRun {
  /** Curl at a time since the run began, s; monotone parts only make sense. */
  curlAt(timeS: number): number;
  durationS: number;
  /** What the app asks for at this moment, if anything; called every ms. */
  ask(timeS: number, curl: number): { stopAt: number; effort: number } | undefined;
}

/** The furthest that the stop was behind the finger, curl, and when. */
export interface Behind {
  /** A stop that has just been moved towards the finger. */
  placed: number;
  /** Any stop. */
  any: number;
  anyAtS: number;
  /** The same, as the servo knows it by its last pulse. */
  servo: number;
  /** Part of the time in which the finger was held. */
  held: number;
}

const COUNTS = HOST_RANGE.closed - HOST_RANGE.open;
const INDEX = 1;

/** Timers that run in order, all at once. */
class TurnedClock implements Clock {
  private timeUs = 1_000_000;
  private readonly timers: { atUs: number; run: () => void }[] = [];
  nowUs(): number {
    return this.timeUs;
  }
  after(delayMs: number, run: () => void): () => void {
    const timer = { atUs: this.timeUs + delayMs * 1000, run };
    this.timers.push(timer);
    return () => {
      const at = this.timers.indexOf(timer);
      if (at >= 0) this.timers.splice(at, 1);
    };
  }
  runTo(us: number): void {
    for (;;) {
      let next = -1;
      for (let i = 0; i < this.timers.length; i++) {
        if (next < 0 || this.timers[i].atUs < this.timers[next].atUs) next = i;
      }
      if (next < 0 || this.timers[next].atUs > us) break;
      const [timer] = this.timers.splice(next, 1);
      this.timeUs = Math.max(this.timeUs, timer.atUs);
      timer.run();
    }
    this.timeUs = us;
  }
}

const silent = pino({ level: 'silent' });

/** @param profile of five curls and five string stops, as the host glove's (turned-chain.ts) */
export function runRigidFinger(profile: Profile, kind: RigidGlove, run: RigidRun): Behind {
  const [gloveProfile] = profile.gloves;
  const clock = new TurnedClock();
  const startUs = clock.nowUs();
  const latencyUs = 1000 * kind.latencyMs;
  let events: LinkEvents | undefined;
  const toHost: { atUs: number; bytes: Uint8Array }[] = [];
  const toGlove: { atUs: number; bytes: Uint8Array }[] = [];
  const link: Link = {
    status: { state: 'live', address: 'rigid' },
    open(listener) {
      events = listener;
      events.status(link.status);
    },
    write(bytes) {
      toGlove.push({ atUs: clock.nowUs() + latencyUs, bytes: Uint8Array.from(bytes) });
      return true;
    },
    close: async () => {},
  };
  const send = (bytes: Uint8Array) => {
    toHost.push({ atUs: clock.nowUs() + latencyUs, bytes: Uint8Array.from(bytes) });
  };

  // The glove.
  let stop = STOP_FREE;
  let untilUs = 0;
  let pulsed = STOP_FREE;
  let pulseAtUs = startUs + ((kind.seed * 7919) % 1000) * kind.pulseMs;
  const worst: Behind = { placed: 0, any: 0, anyAtS: 0, servo: 0, held: 0 };
  let runBeganUs = Number.POSITIVE_INFINITY;
  const truth = (nowUs: number) =>
    nowUs < runBeganUs ? run.curlAt(0) : run.curlAt((nowUs - runBeganUs) / 1e6);
  const free = () => {
    stop = STOP_FREE;
  };
  const hello: Hello = {
    protocol: PROTOCOL_VERSION,
    hand: gloveProfile.hand,
    deviceId: '5100000000000000',
    firmwareVersion: 1,
    sampleRateHz: kind.rateHz,
    channels: FINGERS.map((finger) => ({ role: `${finger}.curl` as const, bits: 12 })),
    actuators: FINGERS.map((role) => ({ role, kind: 'stringStop' as const })),
  };
  const frames = createGloveFrames({
    askHello: () => send(frames.hello(hello)),
    resist(resist) {
      const next = resist.efforts[INDEX] === 0 ? STOP_FREE : resist.stops[INDEX];
      const behind = truth(clock.nowUs()) - next / STOP_MAX;
      if (next !== STOP_FREE && next < stop) worst.placed = Math.max(worst.placed, behind);
      stop = next;
      untilUs = clock.nowUs() + 1000 * resist.validForMs;
    },
    release: free,
    ping: (token) => send(frames.pong(token, Math.round(clock.nowUs() - startUs))),
    rate() {},
    pulse() {},
  });
  let random = kind.seed * 2654435761 + 1;
  const uniform = () => {
    random = (Math.imul(random, 1664525) + 1013904223) >>> 0;
    return random / 2 ** 32;
  };
  const counts = new Uint16Array(MAX_ACTUATORS);
  const sample = () => {
    for (let i = 0; i < FINGERS.length; i++) {
      const curl = i === INDEX ? truth(clock.nowUs()) : 0.1;
      const noise = (uniform() + uniform() + uniform() + uniform() - 2) * 1.732 * kind.noiseCounts;
      counts[i] = Math.max(0, Math.min(4095, Math.round(HOST_RANGE.open + COUNTS * curl + noise)));
    }
    send(frames.samples(Math.round(clock.nowUs() - startUs), 0, counts, FINGERS.length));
  };

  const glove = createGlove({ profile, glove: gloveProfile, link, clock, logger: silent });
  glove.start();
  let nextSampleUs = startUs;
  let asked = 0;
  let heldSteps = 0;
  let steps = 0;
  const pass = (us: number) => {
    const end = clock.nowUs() + us;
    for (;;) {
      const next = Math.min(nextSampleUs, toHost[0]?.atUs ?? Infinity, toGlove[0]?.atUs ?? Infinity);
      if (next > end) break;
      clock.runTo(next);
      if (toGlove.length > 0 && toGlove[0].atUs <= next) frames.push(toGlove.shift()!.bytes);
      else if (toHost.length > 0 && toHost[0].atUs <= next) events!.bytes(toHost.shift()!.bytes, next);
      else {
        sample();
        nextSampleUs += 1e6 / kind.rateHz;
      }
    }
    clock.runTo(end);
    if (end >= untilUs) free();
    if (kind.pulseMs === 0) pulsed = stop;
    while (kind.pulseMs > 0 && pulseAtUs <= end) {
      pulsed = stop;
      pulseAtUs += 1000 * kind.pulseMs;
    }
  };
  const look = () => {
    steps++;
    const curl = truth(clock.nowUs());
    if (stop !== STOP_FREE) {
      heldSteps++;
      const behind = curl - stop / STOP_MAX;
      if (behind > worst.any) {
        worst.any = behind;
        worst.anyAtS = (clock.nowUs() - runBeganUs) / 1e6;
      }
    }
    // A release reaches the servo with a pulse as well.
    if (pulsed !== STOP_FREE) worst.servo = Math.max(worst.servo, curl - pulsed / STOP_MAX);
  };

  for (let ms = 0; ms < 3000 && !(glove.frame.valid && glove.readResistance().armed); ms += 10) {
    pass(10_000);
    if (ms > 300) glove.arm('wearer', 'wearer');
  }
  runBeganUs = clock.nowUs();
  for (let ms = 0; ms < 1000 * run.durationS; ms++) {
    const wanted = run.ask(ms / 1000, truth(clock.nowUs()));
    if (wanted) {
      asked++;
      glove.resist('app', {
        type: 'resist',
        hand: gloveProfile.hand,
        fingers: { index: wanted },
        ttlMs: 300,
      });
    }
    pass(1000);
    look();
  }
  worst.held = heldSteps / steps;
  void glove.close();
  return asked > 0 ? worst : { ...worst, held: 0 };
}
