import { nowUs } from '../monotonic.js';
import type { Feed } from './feed.js';
import type { Hub } from './hub.js';
import type { AppMessage, AppMessageOf, AppMessageType, ServerMessage, ServerMessageOf } from './protocol.js';
import type { Session } from './session.js';
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
  arm: (hub, session, message) => setArmed(hub, session, true, message.hand),
  // A hand that is not there means all of them: nobody is held for a wrong word.
  disarm: (hub, session, { hand }) =>
    setArmed(hub, session, false, hub.feedsOf(hand).length > 0 ? hand : undefined),
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

function setArmed(hub: Hub, session: Session, armed: boolean, hand: string | undefined): Outcome {
  if (hub.feedsOf(hand).length === 0) return noGlove(hub, hand, '/hand');
  const caution = hub.setArmed(armed, hand, session.name ?? session.app);
  if (armed && !hub.isArmed(hand)) return { refused: whyNotArmed(hub, hand) };
  return caution === undefined ? { armed } : { armed, caution };
}

function noGlove(hub: Hub, hand: string | undefined, path: string): Outcome {
  return { refused: { code: 'unknownHand', message: noGloveFor(hand, hub.gloves), path } };
}

/** Of a hand, or of all hands, that stay disarmed. */
export function whyNotArmed(hub: Hub, hand: string | undefined): Complaint {
  if (!hub.feedsOf(hand).some(({ glove }) => glove.connected)) {
    const message = `No glove is connected${hand ? ` for the ${hand} hand` : ''}: connect it, then arm.`;
    return { code: 'notSupported', message };
  }
  const message = 'The glove stays disarmed: it was disarmed a moment ago, or is closing. Arm it again.';
  return { code: 'disarmed', message };
}

/** In words, with the hands that there are. */
export function noGloveFor(hand: string | undefined, gloves: Hub['gloves']): string {
  const hands = gloves.map(({ description }) => description.hand).join(' and ') || 'none';
  return `There is no glove for the ${hand ? `${hand} hand` : 'hand'}; the service has: ${hands}.`;
}
