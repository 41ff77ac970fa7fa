import type { Profile } from '../../src/config/schema.js';
import { turnedProfile } from '../end-to-end/turned-chain.js';
import { type Behind, type RigidGlove, runRigidFinger } from './rigid-finger.js';

/** One way to ask for a stop while a finger closes that no drive can hold. */
export interface BehindCase extends Pick<RigidGlove, 'latencyMs' | 'rateHz' | 'noiseCounts' | 'seed'> {
  /** The finger's greatest speed, curl/s; a fist in 0.25 s has 7.5. */
  fastest: number;
  /** What the profile says of the servo, curl/s. */
  servoSpeed: number;
  stopAt: number;
  /** How fast the asked stop wanders, curl/s. */
  wander: number;
  effort: number;
  /** Curl of the finger at which the app first asks; below 0: long before it moves. */
  fromCurl: number;
  renewMs: number;
}

const RESTS_S = 0.35;
const RANGE = { from: 0.05, to: 1 } as const;
export const PULSE_MS = 20;
/** Of the governor, read off the documentation: how far a finger may be past a stop that holds it. */
const MOST_PRESS = 0.06;
/** Noise, rounding on the wire, and the filter's rest. */
const MARGIN = 0.01;

const profiles = new Map<number, Profile>();

function profileOf(servoSpeed: number): Profile {
  const made =
    profiles.get(servoSpeed) ??
    turnedProfile(
      'right',
      { kind: 'stringStop', spoolRadiusMm: 17, torqueControl: true, speedCurlPerS: servoSpeed },
      { safety: { maxTensionN: 9 } },
    );
  profiles.set(servoSpeed, made);
  return made;
}

/** A movement of least jerk (Flash & Hogan, Journal of Neuroscience 5(7), 1985): its peak is 15/8 of its mean speed. */
function closing(fastest: number): (timeS: number) => number {
  const span = RANGE.to - RANGE.from;
  const durationS = (span * 15) / 8 / fastest;
  return (timeS) => {
    const x = Math.min(1, Math.max(0, (timeS - RESTS_S) / durationS));
    return RANGE.from + span * x ** 3 * (10 - 15 * x + 6 * x * x);
  };
}

export function runBehindCase(one: BehindCase): Behind {
  const curlAt = closing(one.fastest);
  const glove = { ...one, pulseMs: PULSE_MS };
  return runRigidFinger(profileOf(one.servoSpeed), glove, {
    curlAt,
    durationS: RESTS_S + (0.95 * 15) / 8 / one.fastest + 0.3,
    ask(timeS, curl) {
      if (curl < one.fromCurl || Math.round(timeS * 1000) % one.renewMs !== 0) return undefined;
      const stopAt = one.stopAt + one.wander * (timeS - RESTS_S);
      return { stopAt: Math.min(1, Math.max(0, stopAt)), effort: one.effort };
    },
  });
}

/** A stop is kept clear of where a finger of that speed will be a little later (src/resistance/arrival.ts). */
const LOOKED_AHEAD_S = 0.005;

/** What the finger closes in a sample's time, and while a sample and a command are on their way. */
const onTheWay = ({ fastest, rateHz, latencyMs }: BehindCase): number =>
  fastest * Math.max(0, 1 / rateHz + (2 * latencyMs) / 1000 - LOOKED_AHEAD_S);

/** What docs/safety.md promises: the furthest that a stop is behind the finger, at the glove. */
export const promised = (one: BehindCase): number => MOST_PRESS + MARGIN + onTheWay(one);

/** The same, as the servo knows it: by its last pulse. */
export const promisedOfServo = (one: BehindCase): number => promised(one) + (one.fastest * PULSE_MS) / 1000;

export const LINKS = {
  'cable, 500 Hz': { latencyMs: 1, rateHz: 500 },
  'cable, 250 Hz': { latencyMs: 3, rateHz: 250 },
  'radio, 100 Hz': { latencyMs: 15, rateHz: 100 },
} as const;
export type LinkName = keyof typeof LINKS;

/** Evenly over where and when; everything else by turns. */
export function* gridOf(link: LinkName, fastest: number, stops: number[], moments: number[]) {
  let seed = 1;
  for (const stopAt of stops) {
    for (const fromCurl of moments) {
      seed++;
      const turn = <T>(values: readonly T[], every = 1): T =>
        values[Math.floor(seed / every) % values.length];
      yield {
        ...LINKS[link],
        fastest,
        stopAt,
        fromCurl,
        seed,
        servoSpeed: turn([3.5, 2, 5]),
        renewMs: turn([20, 5, 100], 2),
        wander: turn([0, 0, 0.5, -0.5, 2]),
        effort: turn([1, 0.2], 3),
        noiseCounts: turn([2, 0, 6], 2),
      } satisfies BehindCase;
    }
  }
}
