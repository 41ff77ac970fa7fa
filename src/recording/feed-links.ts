import type { HandSide } from '../hand/joints.js';
import type { ReplayLink } from './replay-link.js';
import type { GloveBody, SessionVisitor } from './session.js';

export type ReplayLinks = ReadonlyMap<HandSide, ReplayLink>;

/** Hands what a session holds of each link to its replay, in the order of recording. */
export function feedLinks(links: ReplayLinks): SessionVisitor {
  const gloves = new Map<HandSide, GloveBody>();
  return {
    glove(hand, _timeUs, body) {
      gloves.set(hand, body);
    },
    status(hand, timeUs, body) {
      const link = links.get(hand);
      if (body.joinedLate) link?.enter(timeUs, gloves.get(hand), body);
      else link?.setStatus(body);
    },
    received: (hand, timeUs, bytes) => links.get(hand)?.received(timeUs, bytes),
    sent: (hand, timeUs, bytes) => links.get(hand)?.sent(timeUs, bytes),
  };
}
