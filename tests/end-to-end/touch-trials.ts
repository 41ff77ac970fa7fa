import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import type { AppMessageOf } from '../../src/protocol/messages.js';
import type { Body } from '../firmware/host-glove.js';
import { createTrueHand, THINGS, type Thing } from './things.js';

/*
 * Grasps of a thing: an app says where it is; the host glove's hand, with its muscles, strings and servos, closes
 * on it as a person does; what is measured is where its fingers truly end up. Time and the way between the app and the
 * glove are a TouchBench's: live-bench.ts has real ones, steady-bench.ts turns them by hand.
 */

/** A glove with physics, and an app that the wearer has armed it for. */
export interface TouchBench {
  side: HandSide;
  /** Any clock, ms. */
  nowMs(): number;
  /** Device time on that clock. */
  deviceMs(deviceUs: number): number;
  wait(ms: number): Promise<void>;
  touch(request: AppMessageOf<'touch'>): void;
  release(): void;
  command(line: string): Promise<unknown>;
  bodies(): Promise<Body[]>;
  /** Why the governor has freed the whole hand since the last call: nobody ran it in time. */
  interruption(): string | undefined;
  end(): Promise<unknown>;
}

export interface GraspOptions {
  trials: number;
  seed: number;
  /** From the app's first `touch` to the grasp, ms. */
  leadMs: number;
  /** Grasps that may be interrupted before it gives up. */
  mostInterrupted: number;
  /** A ball when left out. */
  thing?: Thing;
}

/** A servo of the host glove needs up to 0.3 s from out of the way to the nearest of surfaces. */
export const USUAL: GraspOptions = { trials: 12, seed: 1, leadMs: 350, mostInterrupted: 12 };

/** One finger that met the thing in one grasp. */
export interface Meeting {
  hand: HandSide;
  trial: number;
  finger: string;
  /** Greatest speed that the muscles aim at, curl/s. */
  speed: number;
  /** Curl at which the finger truly meets the thing. */
  surface: number;
  /** Where the servo stood when the grasp began, and when the finger was at rest. */
  placed: number;
  stop: number;
  /** Deepest and final curl; depth of the finger in the thing there, mm. */
  peak: number;
  rest: number;
  overshootMm: number;
  restMm: number;
  peakTensionN: number;
  /** Turns of the servo a second while the hand held the ball. */
  reversalsPerS: number;
  /** From the app's `release` to the firmware's, and until the string held nothing, ms. */
  heardMs: number;
  freeMs: number;
}

export interface Outcome {
  meetings: Meeting[];
  /** Why grasps do not count: the governor let go in their middle. */
  interrupted: string[];
  /** From the app's first `touch` until every servo stood at its stop, ms, one a grasp. */
  placedMs: number[];
}

const RENEW_MS = 60;

/** The Lehmer generator of Park & Miller, Communications of the ACM 31(10), 1988. */
function randomFrom(seed: number): () => number {
  let state = seed % 2147483647 || 1;
  return () => {
    state = (state * 48271) % 2147483647;
    return state / 2147483647;
  };
}

/**
 * Greatest speed of a grasp, curl/s. A full fist takes a hand 0.25 to 0.8 s, more often the shorter times: common
 * practice; a movement of least jerk is 15/8 times as fast at its middle as on average.
 */
export const graspSpeed = (random: () => number): number => 1.875 / (0.25 + 0.55 * random() ** 2);

/** A cap that the host glove's servos keep to: they stall at 0.15 N·m / 17 mm = 8.8 N. */
export const PHYSICAL_SAFETY = { maxTensionN: 9 } as const;

/** The actuators of a profile, as the host glove's servos are (src/firmware/host/servo_physics.h). */
export const PHYSICAL_ACTUATOR = {
  kind: 'stringStop',
  stallTorqueNm: 0.15,
  spoolRadiusMm: 17,
  speedCurlPerS: 3.5,
} as const;

export async function graspOften(bench: TouchBench, options: Partial<GraspOptions> = {}): Promise<Outcome> {
  const { trials, seed, leadMs, mostInterrupted } = { ...USUAL, ...options };
  const { side } = bench;
  const random = randomFrom(2 * seed + (side === 'left' ? 1 : 0));
  const thing: Thing = options.thing ?? THINGS.sphere;
  const hand = createTrueHand(side, thing);
  const outcome: Outcome = { meetings: [], interrupted: [], placedMs: [] };

  /** Asks until it is so, at most for that long. */
  const until = async (fits: (all: Body[]) => boolean, mostMs: number): Promise<Body[]> => {
    const end = bench.nowMs() + mostMs;
    for (;;) {
      const now = await bench.bodies();
      if (fits(now) || bench.nowMs() >= end) return now;
      await bench.wait(2);
    }
  };

  for (let trial = 0; trial < trials && outcome.interrupted.length < mostInterrupted; ) {
    const placed = hand.place(random);
    const speed = graspSpeed(random);
    const starts = FINGERS.map((_, finger) => Math.min(0.15 * random(), placed.surface[finger] - 0.05));
    for (const [finger, name] of FINGERS.entries()) await bench.command(`intend ${name} ${starts[finger]} 6`);
    await until((now) => now.every(({ curl }, finger) => Math.abs(curl - starts[finger]) < 0.01), 2000);

    const touch: AppMessageOf<'touch'> = {
      type: 'touch',
      hand: side,
      shape: thing.shape,
      ...(thing.orientation ? { orientation: thing.orientation } : {}),
      position: placed.position,
      ttlMs: 300,
    };
    /** Time passes while the app goes on saying what is touched. */
    const hold = async (ms: number, done: () => Promise<boolean> = async () => false): Promise<void> => {
      const end = bench.nowMs() + ms;
      while (bench.nowMs() < end && !(await done())) {
        bench.touch(touch);
        await bench.wait(Math.min(RENEW_MS, end - bench.nowMs()));
      }
    };
    bench.interruption();
    const touchedMs = bench.nowMs();
    let placedAt: number | undefined;
    for (let left = leadMs; left > 0; left = touchedMs + leadMs - bench.nowMs()) {
      await hold(Math.min(10, left));
      const servos = await bench.bodies();
      const ready = servos.every(
        ({ stopCurl }, finger) => placed.surface[finger] > 1 || stopCurl < placed.surface[finger] + 0.03,
      );
      if (ready) placedAt ??= bench.nowMs() - touchedMs;
    }
    const before = await bench.bodies();

    await bench.command(`grasp 1 ${speed}`);
    // The muscles' aim is reached after this time at most; then the hand holds the ball.
    await hold(1000 * (1.875 / speed) + 100);
    const settled = await bench.bodies();
    const settledMs = bench.nowMs();
    await hold(250);
    const held = await bench.bodies();
    const heldS = (bench.nowMs() - settledMs) / 1000;

    const releasedMs = bench.nowMs();
    bench.release();
    const freed = await until((now) => now.every(({ free, yieldedUs }) => free && yieldedUs !== null), 500);

    const why = bench.interruption();
    if (why !== undefined) {
      outcome.interrupted.push(why);
      continue;
    }
    if (placedAt !== undefined) outcome.placedMs.push(placedAt);
    const sinceRelease = (deviceUs: number | null) =>
      deviceUs === null ? Number.POSITIVE_INFINITY : bench.deviceMs(deviceUs) - releasedMs;
    const peaks = held.map(({ peakCurl }) => peakCurl);
    const rests = held.map(({ curl }) => curl);
    /** With the others where they are sensed: by that the thumb is led (things.ts). */
    const among = (finger: number, curls: readonly number[]): number[] =>
      held.map(({ sensedCurl }, other) => (other === finger ? curls[finger] : sensedCurl));
    for (const [finger, name] of FINGERS.entries()) {
      if (placed.surface[finger] > 0.9) continue;
      outcome.meetings.push({
        hand: side,
        trial,
        finger: name,
        speed,
        surface: placed.surface[finger],
        placed: before[finger].stopCurl,
        stop: held[finger].stopCurl,
        peak: peaks[finger],
        rest: rests[finger],
        overshootMm: 1000 * hand.depth(finger, among(finger, peaks), placed.position),
        restMm: 1000 * hand.depth(finger, among(finger, rests), placed.position),
        peakTensionN: held[finger].peakTensionN,
        reversalsPerS: (held[finger].reversals - settled[finger].reversals) / heldS,
        heardMs: sinceRelease(freed[finger].writtenUs),
        freeMs: sinceRelease(freed[finger].yieldedUs),
      });
    }
    trial++;
  }
  return outcome;
}
