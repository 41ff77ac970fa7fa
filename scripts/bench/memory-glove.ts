import { readFileSync } from 'node:fs';
import { parseProfile } from '../../src/config/load.js';
import type { Profile } from '../../src/config/schema.js';
import { createGlove, type GloveOptions } from '../../src/glove/glove.js';
import type { Link, LinkEvents } from '../../src/link/link.js';
import { createSimulatedGlove } from '../../src/link/simulated-glove.js';
import { MOTION_CYCLE_S } from '../../src/link/simulated-motion.js';

/** A glove without port, thread or clock: its bytes come when the measurement hands them over. */

export const simulatedProfile = (): Profile => {
  const file = 'config/simulated.yaml';
  return parseProfile(readFileSync(file, 'utf8'), file);
};

/**
 * Chunks of the simulated hand's gestures.
 * @param samples one whole round when left out: the end then meets the start
 */
export function gestures(rateHz: number, samples = Math.round(MOTION_CYCLE_S * rateHz)): Uint8Array[] {
  const frames: Uint8Array[] = [];
  const simulated = createSimulatedGlove({ hand: 'right', sampleRateHz: rateHz, seed: 1, startUs: 0 });
  for (let n = 0; frames.length < samples; n++) {
    simulated.step(n * (1e6 / rateHz), (bytes) => void frames.push(bytes.slice()));
  }
  return frames;
}

export interface MemoryLink extends Link {
  /** The glove is there. */
  live(): void;
  bytes(chunk: Uint8Array, atUs: number): void;
}

export function createMemoryLink(): MemoryLink {
  let events: LinkEvents;
  const status = { state: 'live', address: 'memory' } as const;
  return {
    status,
    open: (to) => {
      events = to;
    },
    write: () => true,
    close: async () => {},
    live: () => events.status(status),
    bytes: (chunk, atUs) => events.bytes(chunk, atUs),
  };
}

/** The whole chain of a glove at the end of a memory link, and its gestures, one sample a call. */
export function openMemoryGlove(rateHz: number) {
  const profile = simulatedProfile();
  const frames = gestures(rateHz);
  const link = createMemoryLink();
  let nowUs = 0;
  let at = 0;
  const glove = createGlove({
    profile,
    glove: profile.gloves[0],
    logger: silent,
    clock: { nowUs: () => nowUs, after: () => () => {} },
    link,
  });
  glove.start();
  link.live();
  return {
    glove,
    profile,
    frames,
    sample(): void {
      nowUs += 1e6 / rateHz;
      link.bytes(frames[at], nowUs);
      at = at + 1 === frames.length ? 0 : at + 1;
    },
  };
}

export const silent = new Proxy({}, { get: () => () => {} }) as GloveOptions['logger'];
