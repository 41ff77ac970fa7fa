import { createClosingProfile } from '../../src/hand/closing.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { createHealth } from '../../src/sensing/health/health.js';
import { CURL_ROLES, channel, gaussian, gloveWith, random } from './glove-signals.js';

/*
 * Hands that move as fast as hands can, and faster: what must not be taken for a broken wire.
 */

/** Curl over time, s. */
export type Motion = (timeS: number) => number;

/** Movements of least jerk (Flash & Hogan 1985) at chance, up to 1500 deg/s at their quickest, often to the ends. */
export function leastJerk(seed: number): Motion {
  const next = random(seed);
  let from = 0;
  let to = 0;
  let start = 0;
  let end = 0;
  return (t) => {
    if (t >= end) {
      from = to;
      to = next() < 0.3 ? Math.round(next()) : next();
      start = t + (next() < 0.5 ? 0 : 0.3 * next());
      const shortestS = (1.875 * Math.abs(to - from) * 90) / 1500;
      end = start + Math.max(0.03, shortestS * (1 + 6 * next() ** 2));
    }
    const u = Math.min(1, Math.max(0, (t - start) / (end - start)));
    return from + (to - from) * u ** 3 * (10 - 15 * u + 6 * u * u);
  };
}

/**
 * A mass on a critically damped spring whose aim jumps: quicker than muscles are, as a finger is that was held and is let
 * go.
 * @param acceleration most of it, curl/s2: 90 times that in deg/s2
 * @param arrested something hard may stop it on its way
 */
export function sprung(seed: number, acceleration: number, arrested: boolean): Motion {
  const next = random(seed);
  const w = 40 + 120 * next();
  let aim = 0;
  let x = 0;
  let v = 0;
  let time = 0;
  let nextAt = 0;
  let stop = 1.02;
  return (t) => {
    for (; time < t; time += 0.0005) {
      if (time >= nextAt) {
        aim = next() < 0.4 ? 0 : next();
        stop = arrested && next() < 0.5 ? Math.max(x, next()) : 1.02;
        nextAt = time + 0.1 + 0.8 * next();
      }
      const a = w * w * (aim - x) - 2 * w * v;
      v += 0.0005 * Math.max(-acceleration, Math.min(acceleration, a));
      v = Math.max(-1500 / 90, Math.min(1500 / 90, v));
      x += 0.0005 * v;
      if (x < -0.02 || x > stop) v = 0;
      x = Math.max(-0.02, Math.min(stop, x));
    }
    return x;
  };
}

export const MOTIONS: Record<string, (seed: number) => Motion> = {
  'least jerk': leastJerk,
  'as muscles pull': (seed) => sprung(seed, 600, false),
  'run up against things': (seed) => sprung(seed, 600, true),
  'let go': (seed) => sprung(seed, 1100, false),
};

/** Open and closed, 12 bits: with little room below, short, and falling. */
const RANGES = [
  [500, 3500],
  [491, 3604],
  [350, 3900],
  [1000, 2400],
  [3600, 500],
] as const;

export interface Sampling {
  rateHz: number;
  /** Of 12 bits. */
  noiseCounts: number;
  bits: number;
}

/** @returns what was not believed: time, s, and finger */
export function notBelieved(
  motion: (seed: number) => Motion,
  { rateHz, noiseCounts, bits }: Sampling,
  seconds: number,
  seed: number,
): string[] {
  const unit = 2 ** (bits - 12);
  const profiles = CURL_ROLES.map((role, f) =>
    channel(role, { open: RANGES[f][0] * unit, closed: RANGES[f][1] * unit, bits }),
  );
  const channels = compileChannels(gloveWith(profiles), CURL_ROLES, createClosingProfile());
  const health = createHealth(channels);
  const noise = gaussian(seed);
  const fingers = CURL_ROLES.map((_, f) => motion(1000 * seed + f));
  const counts = new Uint16Array(5);
  const found: string[] = [];
  let before = 0;
  for (let n = 0; n < seconds * rateHz; n++) {
    for (let f = 0; f < 5; f++) {
      const [open, closed] = RANGES[f];
      const y = open + (closed - open) * fingers[f](n / rateHz) + noiseCounts * noise();
      counts[f] = Math.max(0, Math.min(2 ** bits - 1, Math.round(unit * y)));
    }
    health.update(counts, n === 0 ? 0 : 1 / rateHz);
    if (health.troubled > before) {
      const which = health.unusable.indexOf(1);
      found.push(`${(n / rateHz).toFixed(3)} s: finger ${which} ${health.verdicts[which]?.kind}`);
    }
    before = health.troubled;
  }
  return found;
}
