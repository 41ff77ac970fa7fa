import { FINGERS } from '../../hand/joints.js';
import type { ChannelRole } from '../../protocol/link-table.js';

/** What was not seen well enough to say more of a channel. */
export interface Unlearned {
  readonly role: ChannelRole;
  readonly missing:
    | 'motion'
    | 'open'
    | 'closed'
    | 'variety'
    | 'direction'
    | 'reach'
    | 'sensor'
    | 'rest'
    | 'ends';
  /** One line for the wearer. */
  readonly says: string;
}

/** Held poses at an end that make it one. */
export const LEAST_POSES = 3;

const POSE_WORDS = { open: 'open flat', closed: 'closed all the way' } as const;
export const tooLittle = (role: ChannelRole): Unlearned => ({
  role,
  missing: 'motion',
  says: `${role}: too little motion so far.`,
});
export const notSeen = (role: ChannelRole, what: 'open' | 'closed', times: number): Unlearned => ({
  role,
  missing: what,
  says: `${role}: the finger was ${POSE_WORDS[what]} and held there ${times === 1 ? 'once at most' : `${times} times`}; it takes ${LEAST_POSES}.`,
});
export const doubtful = (role: ChannelRole, what: 'open' | 'closed'): Unlearned => ({
  role,
  missing: 'variety',
  says: `${role}: ${DOUBTS[what]}`,
});
const DOUBTS = {
  open: 'whether the finger was ever straight is not sure; stretch the hand flat now and then, and point at something.',
  closed: 'a fist cannot be told from a thing in the hand; make a fist now and then, and point at something.',
} as const;
export const unlike = (role: ChannelRole): Unlearned => ({
  role,
  missing: 'direction',
  says: `${role}: moves unlike the other fingers, so it cannot be seen which way is closed.`,
});
export const whichWay = (role: ChannelRole): Unlearned => ({
  role,
  missing: 'direction',
  says: `${role}: which way is closed cannot be seen; point at something with the ${FINGERS[1]} finger, the others closed.`,
});
