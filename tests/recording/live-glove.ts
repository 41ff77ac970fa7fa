import { readFileSync } from 'node:fs';
import type { Clock } from '../../src/clock.js';
import type { FitStore } from '../../src/config/fit-file.js';
import { parseProfile } from '../../src/config/load.js';
import type { Profile } from '../../src/config/schema.js';
import { createGlove, type LiveGlove } from '../../src/glove/glove.js';
import { openLink } from '../../src/link/open-link.js';

/** A clock that stands still until it is moved; timers run in order as it passes them. */
export interface HandClock extends Clock {
  /** Moves to a time, running what falls due. */
  runTo(us: number): Promise<void>;
}

export function createHandClock(startUs = 1_234_567.25): HandClock {
  let nowUs = startUs;
  let count = 0;
  const timers: { atUs: number; order: number; run: () => void }[] = [];
  return {
    nowUs: () => nowUs,
    after(delayMs, run) {
      const timer = { atUs: nowUs + Math.max(delayMs, 0.001) * 1000, order: count++, run };
      timers.push(timer);
      return () => {
        const at = timers.indexOf(timer);
        if (at >= 0) timers.splice(at, 1);
      };
    },
    async runTo(us) {
      for (;;) {
        let next = timers[0];
        for (const timer of timers) {
          if (timer.atUs < next.atUs || (timer.atUs === next.atUs && timer.order < next.order)) next = timer;
        }
        if (!next || next.atUs > us) break;
        timers.splice(timers.indexOf(next), 1);
        // Never quite on the dot, as real timers: arrivals get their own fractions of a microsecond.
        nowUs = Math.max(nowUs, next.atUs + ((count * 37.7310791) % 91));
        next.run();
        // Opening a port takes a turn of the event loop.
        await null;
      }
      nowUs = Math.max(nowUs, us);
    },
  };
}

export function simulatedProfile(hands: ('left' | 'right')[] = ['right'], sampleRateHz = 250): Profile {
  const file = 'config/simulated.yaml';
  const profile = parseProfile(readFileSync(file, 'utf8'), file);
  const [one] = profile.gloves;
  profile.gloves = hands.map((hand, i) => ({
    ...structuredClone(one),
    hand,
    name: `${hand} glove`,
    link: { kind: 'simulated', sampleRateHz, seed: i + 1 },
  }));
  return profile;
}

export function simulatedGloves(profile: Profile, clock: Clock, fits?: FitStore): LiveGlove[] {
  return profile.gloves.map((glove) =>
    createGlove({
      profile,
      glove,
      link: openLink(glove.link, { hand: glove.hand, clock, random: () => 0.5 }),
      logger: silent,
      clock,
      fits,
    }),
  );
}

export const silent = new Proxy({}, { get: () => () => {} }) as Parameters<typeof createGlove>[0]['logger'];
