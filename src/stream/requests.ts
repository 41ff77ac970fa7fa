import { nowUs } from '../clock.js';
import { onlyTheWearer } from '../glove/arming.js';
import type { WhoArms } from '../glove/view.js';
import type {
  AppMessage,
  AppMessageOf,
  AppMessageType,
  ServerMessage,
  ServerMessageOf,
} from '../protocol/messages.js';
import type { Session } from './connection.js';
import type { Feed } from './feed.js';
import type { Hub } from './hub.js';
import type { Complaint } from './validate.js';

/** What goes into the ack beside the usual, or why the request is refused. */
export type Refusal = Complaint;
type Outcome = Partial<ServerMessageOf<'ack'>> | { refused: Complaint };
type Handlers = {
  [T in AppMessageType]: (hub: Hub, session: Session, message: AppMessageOf<T>) => Outcome;
};

const TAKEN = {};

/** What each message does. */
const HANDLERS: Handlers = {
  subscribe(hub, session, message) {
    for (const [i, hand] of (message.hands ?? []).entries()) {
      if (hub.feedsOf(hand).length === 0) return noGlove(hub, hand, `/hands/${i}`);
    }
    if (message.app !== undefined && !hub.permissions.mayBeCalled(message.app, session.proved)) {
      const name = JSON.stringify(message.app);
      const line = `The name ${name} belongs to the app that has its token. Connect with that token, or take another name.`;
      return { refused: { code: 'notPermitted', message: line, path: '/app' } };
    }
    session.name = session.proved ?? message.app ?? session.name;
    const streams = message.streams ?? ['joints'];
    const rateHz = message.rateHz ?? 0;
    session.wanted =
      streams.length === 0
        ? undefined
        : {
            hands: message.hands,
            streams,
            rateHz,
            encoding: session.encoding,
            velocities: message.velocities ?? false,
            predictMs: message.predictMs ?? 0,
          };
    hub.connect(session);
    const granted = hub.feeds
      .filter(({ glove }) => !message.hands || message.hands.includes(glove.description.hand))
      .map((feed) => feed.granted(rateHz));
    const highest = Math.max(0, ...granted);
    return streams.length > 0 && highest > 0 ? { rateHz: highest } : TAKEN;
  },
  resist: (hub, session, message) =>
    onHand(hub, message.hand, ({ glove }) => glove.resist(session.app, message)),
  touch: (hub, session, message) =>
    onHand(hub, message.hand, ({ glove }) => glove.touch(session.app, message)),
  pulse: (hub, session, message) =>
    onHand(hub, message.hand, ({ glove }) => glove.pulse(session.app, message)),
  tracker: (hub, _session, message) =>
    onHand(hub, message.hand, ({ glove }) => {
      glove.track(message);
      return undefined;
    }),
  release: (hub, session, message) =>
    onHand(hub, message.hand, ({ glove }) => {
      glove.release(session.app, message.layer);
      return undefined;
    }),
  rezero: (hub, session, message) =>
    onHand(hub, message.hand, ({ glove }) => {
      glove.rezero(session.app);
      return undefined;
    }),
  arm(hub, { name, app, proved }, { hand }) {
    const outcome = armHands(hub, hand, name ?? app, hub.permissions.mayArm(proved) ? 'app' : undefined);
    return 'refused' in outcome ? outcome : { armed: true, ...outcome };
  },
  disarm(hub, session, { hand }) {
    if (hub.feedsOf(hand).length === 0) return noGlove(hub, hand, '/hand');
    hub.disarm(hand, session.name ?? session.app, whoIs(hub, session));
    return { armed: false };
  },
  ping: (_hub, _session, message) => (message.timeUs === undefined ? TAKEN : { echoUs: message.timeUs }),
};

/** Does what the message asks and says so. */
export function answer(hub: Hub, session: Session, message: AppMessage): ServerMessage {
  const refusal = hub.permissions.refuseMessage(message.type, session.name);
  if (refusal) {
    return { type: 'error', ...(message.id === undefined ? {} : { id: message.id }), ...refusal };
  }
  const handler = HANDLERS[message.type] as (hub: Hub, session: Session, message: AppMessage) => Outcome;
  const outcome = handler(hub, session, message);
  const id = message.id === undefined ? {} : { id: message.id };
  if ('refused' in outcome) return { type: 'error', ...id, ...outcome.refused };
  return { type: 'ack', ...id, for: message.type, timeUs: Math.round(nowUs()), ...outcome };
}

function onHand(hub: Hub, hand: string | undefined, act: (feed: Feed) => Refusal | undefined): Outcome {
  const feeds = hub.feedsOf(hand);
  if (feeds.length === 0) return noGlove(hub, hand, '/hand');
  for (const feed of feeds) {
    const refusal = act(feed);
    if (refusal) return { refused: refusal };
  }
  return TAKEN;
}

/**
 * Arms the hand, or every hand that is connected.
 * @param who undefined: an app that may not
 * @returns the caution, the first time that anybody arms in this run, or why not
 */
export function armHands(
  hub: Hub,
  hand: string | undefined,
  by: string,
  who: WhoArms | undefined,
): { caution?: string } | { refused: Complaint } {
  const [first] = hub.feedsOf(hand);
  if (!first) return noGlove(hub, hand, '/hand');
  if (!who) return { refused: onlyTheWearer(first.glove.description.howToArm) };
  return hub.arm(hand, by, who);
}

/** Only an app that may arm takes its own disarm back; whoever else disarms does it for the wearer. */
export const whoIs = (hub: Hub, { proved }: Session): WhoArms =>
  hub.permissions.mayArm(proved) ? 'app' : 'wearer';

function noGlove(hub: Hub, hand: string | undefined, path: string): { refused: Complaint } {
  return { refused: { code: 'unknownHand', message: noGloveFor(hand, hub.gloves), path } };
}

/** In words, with the hands that there are. */
export function noGloveFor(hand: string | undefined, gloves: Hub['gloves']): string {
  const hands = gloves.map(({ description }) => description.hand).join(' and ') || 'none';
  return `There is no glove for the ${hand ? `${hand} hand` : 'hand'}; the service has: ${hands}.`;
}
