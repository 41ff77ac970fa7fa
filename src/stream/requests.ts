import { nowUs } from '../clock.js';
import type {
  AppMessage,
  AppMessageOf,
  AppMessageType,
  ServerMessage,
  ServerMessageOf,
} from '../protocol/messages.js';
import { noGloveFor, onlyTheWearer, type Refusal } from '../protocol/refusals.js';
import type { WhoArms } from '../resistance/governor.js';
import type { Session } from './connection.js';
import type { Feed } from './feed.js';
import type { Permissions } from './permissions.js';

/** What requests are about: the gloves, and who may do what with them. */
export interface RequestTarget {
  readonly feeds: readonly Feed[];
  readonly permissions: Permissions;
  /** The feeds of a hand, or of every hand. */
  feedsOf(hand: string | undefined): readonly Feed[];
  /** Makes the session a reader of what its subscription says. */
  connect(session: Session): void;
  arm(hand: string | undefined, by: string, who: WhoArms): { caution?: string } | { refused: Refusal };
  disarm(hand: string | undefined, by: string, who: WhoArms): void;
}

/** What goes into the ack beside the usual, or why the request is refused. */
type Outcome = Partial<ServerMessageOf<'ack'>> | { refused: Refusal };
type Handlers = {
  [T in AppMessageType]: (target: RequestTarget, session: Session, message: AppMessageOf<T>) => Outcome;
};

const TAKEN = {};

/** What each message does. */
const HANDLERS: Handlers = {
  subscribe(target, session, message) {
    for (const [i, hand] of (message.hands ?? []).entries()) {
      if (target.feedsOf(hand).length === 0) return noGlove(target, hand, `/hands/${i}`);
    }
    if (message.app !== undefined && !target.permissions.mayBeCalled(message.app, session.proved)) {
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
    target.connect(session);
    const granted = target.feeds
      .filter(({ glove }) => !message.hands || message.hands.includes(glove.description.hand))
      .map((feed) => feed.granted(rateHz));
    const highest = Math.max(0, ...granted);
    return streams.length > 0 && highest > 0 ? { rateHz: highest } : TAKEN;
  },
  resist: (target, session, message) =>
    onHand(target, message.hand, ({ glove }) => glove.resist(session.app, message)),
  touch: (target, session, message) =>
    onHand(target, message.hand, ({ glove }) => glove.touch(session.app, message)),
  pulse: (target, session, message) =>
    onHand(target, message.hand, ({ glove }) => glove.pulse(session.app, message)),
  tracker: (target, _session, message) =>
    onHand(target, message.hand, ({ glove }) => {
      glove.track(message);
      return undefined;
    }),
  release: (target, session, message) =>
    onHand(target, message.hand, ({ glove }) => {
      glove.release(session.app, message.layer);
      return undefined;
    }),
  rezero: (target, session, message) =>
    onHand(target, message.hand, ({ glove }) => {
      glove.rezero(session.app);
      return undefined;
    }),
  arm(target, { name, app, proved }, { hand }) {
    const outcome = armHands(
      target,
      hand,
      name ?? app,
      target.permissions.mayArm(proved) ? 'app' : undefined,
    );
    return 'refused' in outcome ? outcome : { armed: true, ...outcome };
  },
  disarm(target, session, { hand }) {
    // A hand that is not there means all of them: nobody is held for a wrong word.
    const which = target.feedsOf(hand).length > 0 ? hand : undefined;
    target.disarm(which, session.name ?? session.app, whoIs(target, session));
    return { armed: false };
  },
  ping: (_target, _session, message) => (message.timeUs === undefined ? TAKEN : { echoUs: message.timeUs }),
};

/** Does what the message asks and says so. */
export function answer(target: RequestTarget, session: Session, message: AppMessage): ServerMessage {
  const refusal = target.permissions.refuseMessage(message.type, session.name);
  if (refusal) {
    return { type: 'error', ...(message.id === undefined ? {} : { id: message.id }), ...refusal };
  }
  const handler = HANDLERS[message.type] as (
    target: RequestTarget,
    session: Session,
    message: AppMessage,
  ) => Outcome;
  const outcome = handler(target, session, message);
  const id = message.id === undefined ? {} : { id: message.id };
  if ('refused' in outcome) return { type: 'error', ...id, ...outcome.refused };
  return { type: 'ack', ...id, for: message.type, timeUs: Math.round(nowUs()), ...outcome };
}

function onHand(
  target: RequestTarget,
  hand: string | undefined,
  act: (feed: Feed) => Refusal | undefined,
): Outcome {
  const feeds = target.feedsOf(hand);
  if (feeds.length === 0) return noGlove(target, hand, '/hand');
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
  target: RequestTarget,
  hand: string | undefined,
  by: string,
  who: WhoArms | undefined,
): { caution?: string } | { refused: Refusal } {
  const [first] = target.feedsOf(hand);
  if (!first) return noGlove(target, hand, '/hand');
  if (!who) return { refused: onlyTheWearer(first.glove.description.howToArm) };
  return target.arm(hand, by, who);
}

/** Only an app that may arm takes its own disarm back; whoever else disarms does it for the wearer. */
export const whoIs = (target: RequestTarget, { proved }: Session): WhoArms =>
  target.permissions.mayArm(proved) ? 'app' : 'wearer';

function noGlove(target: RequestTarget, hand: string | undefined, path: string): { refused: Refusal } {
  return { refused: { ...noGloveFor(hand, target.feeds.map(handOf)), path } };
}

const handOf = ({ glove }: Feed): string => glove.description.hand;
