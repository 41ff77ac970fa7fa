import { FINGERS } from '../hand/joints.js';
import type { Channel, ChannelKind } from './channels.js';

/** Where the values of a hand come from: numbers of channels, -1 for none. */
export interface Slots {
  /** Per finger. */
  readonly curl: Int8Array;
  readonly splay: Int8Array;
  /** 5 fingers x DOFS_PER_FINGER, for sensors of single joints. */
  readonly joint: Int8Array;
  /** Per finger, 1: a joint's flexion has a sensor. */
  readonly hasJoints: Uint8Array;
  readonly arch: number;
  /** x, y, z, w. */
  readonly wrist: readonly number[];
}

/** Numbers of the values that bend the hand: of channels, and behind them of fingers without a sensor of their flexion. */
export function bendingValues(
  { curl, splay, joint, hasJoints, arch }: Slots,
  channelCount: number,
): Int32Array {
  const used = [...curl, ...splay, ...joint, arch].filter((slot) => slot >= 0);
  for (let f = 0; f < FINGERS.length; f++) {
    if (curl[f] < 0 && hasJoints[f] === 0) used.push(channelCount + f);
  }
  return Int32Array.from(new Set(used)).sort();
}

export function findSlots(channels: readonly Channel[]): Slots {
  const slotOf = (kind: ChannelKind, finger: number, part: number) =>
    channels.findIndex((c) => c.kind === kind && c.finger === finger && c.part === part);
  const joint = Int8Array.from({ length: FINGERS.length * 4 }, (_, i) => slotOf('joint', i >> 2, i & 3));
  return {
    curl: Int8Array.from(FINGERS, (_, f) => slotOf('curl', f, 0)),
    splay: Int8Array.from(FINGERS, (_, f) => slotOf('splay', f, 1)),
    joint,
    hasJoints: Uint8Array.from(FINGERS, (_, f) =>
      [0, 2, 3].some((part) => joint[f * 4 + part] >= 0) ? 1 : 0,
    ),
    arch: slotOf('arch', -1, 0),
    wrist: [0, 1, 2, 3].map((part) => slotOf('wrist', -1, part)),
  };
}
