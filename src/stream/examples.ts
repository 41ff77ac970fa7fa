import type { AppMessageOf, AppMessageType } from '../protocol/messages.js';

/** One example of each message that apps send, for the documents. A test sends each of them to a service. */
export const EXAMPLES: { [T in AppMessageType]: AppMessageOf<T> } = {
  subscribe: {
    type: 'subscribe',
    id: 1,
    app: 'my app',
    hands: ['right'],
    streams: ['joints', 'inputs'],
    rateHz: 90,
    velocities: true,
  },
  resist: {
    type: 'resist',
    id: 2,
    hand: 'right',
    fingers: { index: { stopAt: 0.5, effort: 0.8 }, middle: { stopAt: 0.55, effort: 0.8 } },
    ttlMs: 250,
  },
  touch: {
    type: 'touch',
    id: 3,
    hand: 'right',
    layer: 'ball',
    shape: { kind: 'sphere', radius: 0.035 },
    space: 'palm',
    position: [0, -0.055, -0.03],
    effort: 1,
    stiffness: 800,
  },
  release: { type: 'release', id: 4, hand: 'right', layer: 'ball' },
  pulse: {
    type: 'pulse',
    id: 5,
    hand: 'right',
    finger: 'index',
    amplitude: 0.5,
    durationMs: 40,
    frequencyHz: 150,
  },
  tracker: { type: 'tracker', id: 6, hand: 'right', position: [0.2, 1.1, -0.4], orientation: [0, 0, 0, 1] },
  arm: { type: 'arm', id: 7, hand: 'right' },
  disarm: { type: 'disarm', id: 8 },
  rezero: { type: 'rezero', id: 10, hand: 'right' },
  ping: { type: 'ping', id: 9, timeUs: 123456 },
};
