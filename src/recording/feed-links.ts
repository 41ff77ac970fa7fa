import type { FitsInUse } from '../config/fit-file.js';
import type { HandSide } from '../hand/joints.js';
import type { RecordedAct } from '../link/link.js';
import type { ReplayLink } from './replay-link.js';
import type { FitsBody, GloveBody, SessionVisitor } from './session.js';

export type ReplayLinks = ReadonlyMap<HandSide, ReplayLink>;

/** Feeds what a session holds for each link to its replay, in the order of recording. */
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
    fits: (hand, timeUs, { fits }) => links.get(hand)?.act(timeUs, { type: 'fits', fits: fitsByKind(fits) }),
    request(hand, timeUs, { app, request, refusal }) {
      // Forces are up to today's apps; only what moves the hand itself is repeated.
      if (!refusal && isAct(request))
        links.get(hand)?.act(timeUs, request.type === 'tracker' ? { ...request, app } : request);
    },
    received: (hand, timeUs, bytes) => links.get(hand)?.received(timeUs, bytes),
    sent: (hand, timeUs, bytes) => links.get(hand)?.sent(timeUs, bytes),
  };
}

const isAct = (request: {
  type: string;
}): request is Exclude<RecordedAct, { type: 'fits' | 'drift' | 'restart' }> =>
  request.type === 'tracker' || request.type === 'rezero';

const fitsByKind = (fits: FitsBody['fits']): FitsInUse => ({
  channels: fits.find((fit) => fit.channels),
  actuators: fits.find((fit) => fit.actuators),
  hand: fits.find((fit) => fit.skeleton),
  mount: fits.find((fit) => fit.mount),
});
