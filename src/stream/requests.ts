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
import type { AppConnection } from './connection.js';
import type { Feed } from './feed.js';
import type { OpenxrApps } from './openxr-apps.js';
import type { Permissions } from './permissions.js';

/** What requests act on: the gloves, and who may do what with them. */
export interface RequestTarget {
  readonly feeds: readonly Feed[];
  readonly permissions: Permissions;
  readonly openxr: OpenxrApps;
  /** The feeds of a hand, or of every hand. */
  feedsOf(hand: string | undefined): readonly Feed[];
  /** Makes the connection a reader of what it subscribed to. */
  connect(connection: AppConnection): void;
  arm(hand: string | undefined, by: string, who: WhoArms): { caution?: string } | { refused: Refusal };
  disarm(hand: string | undefined, by: string, who: WhoArms): void;
}

/** What the ack says besides the usual, or why the request is refused. */
type Outcome = Partial<ServerMessageOf<'ack'>> | { refused: Refusal };
type Handlers = {
  [T in AppMessageType]: (
    target: RequestTarget,
    connection: AppConnection,
    message: AppMessageOf<T>,
  ) => Outcome;
};

const TAKEN: Outcome = {};
const UNPLACED =
  'Nothing is felt of it: it lies in the world, and where this hand is in the world is not known. Send `tracker`.';

/** What each message does. */
const HANDLERS: Handlers = {
  subscribe(target, connection, message) {
    for (const [i, hand] of (message.hands ?? []).entries()) {
      if (target.feedsOf(hand).length === 0) return noGlove(target, hand, `/hands/${i}`);
    }
    if (message.app !== undefined && !target.permissions.mayBeCalled(message.app, connection.proved)) {
      const name = JSON.stringify(message.app);
      const line = `The name ${name} belongs to the app that has its token. Connect with that token, or take another name.`;
      return { refused: { code: 'notPermitted', message: line, path: '/app' } };
    }
    connection.name = connection.proved ?? message.app ?? connection.name;
    const streams = message.streams ?? ['joints'];
    const rateHz = message.rateHz ?? 0;
    connection.wanted =
      streams.length === 0
        ? undefined
        : {
            hands: message.hands,
            streams,
            rateHz,
            restHz: message.restHz ?? 0,
            encoding: connection.encoding,
            velocities: message.velocities ?? false,
            surface: message.surface ?? false,
            predictMs: Math.round(message.predictMs ?? 0),
          };
    target.connect(connection);
    const granted = target.feeds
      .filter(({ glove }) => !message.hands || message.hands.includes(glove.description.hand))
      .map((feed) => feed.granted(rateHz));
    const highest = Math.max(0, ...granted);
    return streams.length > 0 && highest > 0 ? { rateHz: highest } : TAKEN;
  },
  resist: (target, connection, message) =>
    onHand(target, message.hand, ({ glove }) => glove.resist(connection.app, message)),
  touch(target, connection, message) {
    const outcome = onHand(target, message.hand, ({ glove }) => glove.touch(connection.app, message));
    if (outcome !== TAKEN || message.space !== 'world') return outcome;
    const unplaced = target.feedsOf(message.hand).some(({ glove }) => glove.frame.space !== 'world');
    return unplaced ? { limited: UNPLACED } : outcome;
  },
  pulse: (target, connection, message) =>
    onHand(target, message.hand, ({ glove }) => glove.pulse(connection.app, message, connection.grasps)),
  tracker(target, { app, name }, message) {
    const feeds = target.feedsOf(message.hand);
    if (feeds.length === 0) return noGlove(target, message.hand, '/hand');
    return feeds[0].glove.track(message, app, name ?? app);
  },
  release: (target, connection, message) =>
    onHand(target, message.hand, ({ glove }) => {
      glove.release(connection.app, message.layer);
      return undefined;
    }),
  rezero: (target, connection, message) =>
    onHand(target, message.hand, ({ glove }) => {
      glove.rezero(connection.app);
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
  disarm(target, connection, { hand }) {
    // An unknown hand means every hand: nobody stays held because of a wrong word.
    const which = target.feedsOf(hand).length > 0 ? hand : undefined;
    target.disarm(which, connection.name ?? connection.app, whoIs(target, connection));
    return { armed: false };
  },
  ping: (_target, _connection, message) =>
    message.timeUs === undefined ? TAKEN : { echoUs: message.timeUs },
  openxr(target, connection, message) {
    const refused = target.openxr.take(connection, message, Date.now());
    connection.grasps = refused === undefined && target.openxr.grasps;
    return refused ? { refused } : TAKEN;
  },
};

/** Does what the message asks for and answers. */
export function answer(target: RequestTarget, connection: AppConnection, message: AppMessage): ServerMessage {
  const refusal =
    target.permissions.refuseMessage(message.type, connection.name) ??
    refuseDenied(target, connection, message) ??
    refusePaired(connection, message);
  if (refusal) {
    return { type: 'error', ...(message.id === undefined ? {} : { id: message.id }), ...refusal };
  }
  const handler = HANDLERS[message.type] as (
    target: RequestTarget,
    connection: AppConnection,
    message: AppMessage,
  ) => Outcome;
  const outcome = handler(target, connection, message);
  const id = message.id === undefined ? {} : { id: message.id };
  if ('refused' in outcome) return { type: 'error', ...id, ...outcome.refused };
  return { type: 'ack', ...id, for: message.type, timeUs: Math.round(nowUs()), ...outcome };
}

/** What a program may that the profile denies: to say who it is, and to let go. */
const DENIED_MAY: readonly AppMessageType[] = ['openxr', 'ping', 'release', 'disarm'];
function refuseDenied(
  { openxr }: RequestTarget,
  connection: AppConnection,
  { type }: AppMessage,
): Refusal | undefined {
  if (DENIED_MAY.includes(type) || !openxr.isDenied(connection)) return undefined;
  return { code: 'notPermitted', message: 'The profile does not serve this program.' };
}

/** What a paired extension may: to see, and to let go. The pages that it speaks for are anybody's. */
const PAIRED_MAY: readonly AppMessageType[] = ['subscribe', 'ping', 'release', 'disarm'];
function refusePaired({ pairedOrigin }: AppConnection, { type }: AppMessage): Refusal | undefined {
  if (pairedOrigin === undefined || PAIRED_MAY.includes(type)) return undefined;
  return { code: 'notPermitted', message: 'A paired extension sees hands, and puts no force on them.' };
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
export const whoIs = (target: RequestTarget, { proved }: AppConnection): WhoArms =>
  target.permissions.mayArm(proved) ? 'app' : 'wearer';

function noGlove(target: RequestTarget, hand: string | undefined, path: string): { refused: Refusal } {
  return { refused: { ...noGloveFor(hand, target.feeds.map(handOf)), path } };
}

const handOf = ({ glove }: Feed): string => glove.description.hand;
