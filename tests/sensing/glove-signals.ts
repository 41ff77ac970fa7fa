import type { ChannelProfile, GloveProfile } from '../../src/config/schema.js';
import { FINGERS } from '../../src/hand/joints.js';
import type { Samples } from '../../src/link/codec.js';
import { type ChannelRole, MAX_CHANNELS } from '../../src/protocol/link-table.js';

/** Gloves and signals for the tests of this folder: deterministic, with known noise. */

export const channel = (role: ChannelRole, more: Partial<ChannelProfile> = {}): ChannelProfile => ({
  role,
  open: 500,
  closed: 3500,
  bits: 12,
  inverted: false,
  ...more,
});

export const gloveWith = (
  channels: ChannelProfile[],
  more: Partial<Pick<GloveProfile, 'buttons' | 'controls' | 'drift' | 'filter' | 'hand'>> = {},
): GloveProfile => ({
  name: 'test glove',
  hand: 'right',
  link: { kind: 'simulated', sampleRateHz: 500, seed: 1 },
  codec: { kind: 'frames' },
  channels,
  actuators: [],
  buttons: {},
  filter: { minCutoffHz: 2, beta: 3, derivativeCutoffHz: 2 },
  drift: { follow: false, rezeroGesture: false },
  controls: {
    stickDeadZone: 0.12,
    debounceMs: 8,
    fingerStick: false,
    armPressS: 1.5,
    triggerFinger: 'index',
  },
  ...more,
});

export const CURL_ROLES = FINGERS.map((finger) => `${finger}.curl` as const);
export const SPLAY_ROLES = FINGERS.map((finger) => `${finger}.splay` as const);

/** Uniform 0..1 (mulberry32). */
export function random(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** Standard normal (Box & Muller), from a table that repeats after a prime number of draws. */
export function gaussian(seed: number): () => number {
  const uniform = random(seed);
  const draws = Float64Array.from(
    { length: 65521 },
    () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()),
  );
  let next = 0;
  return () => {
    next = next + 1 === draws.length ? 0 : next + 1;
    return draws[next];
  };
}

export interface Feed {
  readonly samples: Samples;
  /** Device time, s. */
  now: number;
  /** Sends one sample of counts. */
  send(counts: ArrayLike<number>, buttons?: number): void;
}

/** Feeds counts to a receiver at a rate, like a glove with a good clock. */
export function feedTo(receiver: { update(samples: Samples, timeUs: number): void }, rateHz: number): Feed {
  const samples: Samples = {
    seq: 0,
    deviceTimeUs: 0,
    buttons: 0,
    channelCount: 0,
    channels: new Uint16Array(MAX_CHANNELS),
  };
  let tick = 0;
  const feed: Feed = {
    samples,
    now: 0,
    send(counts, buttons = 0) {
      feed.now = tick / rateHz;
      samples.seq = tick & 0xff;
      samples.deviceTimeUs = Math.round(feed.now * 1e6) >>> 0;
      samples.buttons = buttons;
      samples.channelCount = counts.length;
      samples.channels.set(counts);
      receiver.update(samples, feed.now * 1e6);
      tick++;
    },
  };
  return feed;
}
