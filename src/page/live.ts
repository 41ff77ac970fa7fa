import { type Client, connect } from '../client/client.js';
import { Events } from '../client/events.js';
import type { HandPose } from '../client/pose.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import type { ServerMessageOf, StreamName } from '../protocol/messages.js';
import type { Unused } from '../resistance/unused-lines.js';
import { createAppNames } from './app-names.js';
import { createHeldVerdicts } from './held-verdicts.js';
import { seen } from './seen.js';
import { readToken } from './token.js';

export type HandInfo = ServerMessageOf<'welcome'>['hands'][number];
export type Health = ServerMessageOf<'health'>;
export type Resistance = ServerMessageOf<'resistance'>;
export type Signals = ServerMessageOf<'signals'>;
export type Inputs = ServerMessageOf<'inputs'>;

/** All that is known about one hand; the newest of each kind. */
export interface LiveHand {
  info: HandInfo;
  armed: boolean;
  joints: HandPose | undefined;
  health: Health | undefined;
  resistance: Resistance | undefined;
  signals: Signals | undefined;
  inputs: Inputs | undefined;
}

/** The session that is shown in place of this glove, as it is listed; undefined while the glove itself is. */
export const recordingOf = ({ info }: Pick<LiveHand, 'info'>): string | undefined =>
  info.link.recorded?.replace(/\.mcap$/, '');

/** The glove is made up by the service: nobody wears it. */
export const isSimulated = ({ info }: Pick<LiveHand, 'info'>): boolean => info.link.simulated === true;

/** What of the glove is never used, by the finger it would hold; nothing of a recording, of which nothing could be. */
export const neverUsed = (hand: Pick<LiveHand, 'info'>): { role: string; unused: Unused }[] =>
  recordingOf(hand) === undefined
    ? hand.info.actuators.flatMap(({ role, unused }) => (unused ? [{ role, unused }] : []))
    : [];

/** Whatever could hold a finger of it is never used: nobody will feel anything. */
export const holdsNothing = (hand: Pick<LiveHand, 'info'>): boolean => {
  const never = neverUsed(hand);
  const could = hand.info.actuators.filter(({ role, kind }) => kind !== 'vibration' && isFinger(role));
  return never.length > 0 && could.every(({ unused }) => unused);
};
/** A strength can be asked of something that holds a finger of it. */
export const heedsStrength = ({ info }: Pick<LiveHand, 'info'>): boolean =>
  info.actuators.some(({ heedsEffort }) => heedsEffort);
const isFinger = (role: string): boolean => (FINGERS as readonly string[]).includes(role);

/** Twice what most displays show: the pose in each frame is at most 8 ms old. */
export const RATE_HZ = 125;
/** What a page that is not seen still hears: faults, who armed, and what the governor steps in for. */
const UNSEEN_STREAMS: readonly StreamName[] = ['health', 'resistance'];

export interface Live {
  readonly client: Client;
  readonly hands: ReadonlyMap<HandSide, LiveHand>;
  readonly connected: boolean;
  /** Why there is no connection. */
  readonly reason: string | undefined;
  /** What an app calls itself; its id until that is known. */
  nameOf(app: string): string;
  /** Hands, arming or connection changed. */
  readonly changed: {
    /** @returns removes the listener */
    on(listener: () => void): () => void;
  };
}

/** What the page knows of the service: from the public stream, by the library that every app uses. */
export function createLive(): Live {
  const client = connect({
    url: location.origin,
    app: 'Bench page',
    rateHz: RATE_HZ,
    velocities: false,
    token: readToken(),
  });
  const hands = new Map<HandSide, LiveHand>();
  const verdicts = new Map<HandSide, ReturnType<typeof createHeldVerdicts>>();
  const events = new Events<{ changed: undefined }>();
  const changed = () => events.emit('changed', undefined);
  let reason: string | undefined;
  const forget = (side: HandSide) => {
    hands.delete(side);
    verdicts.delete(side);
  };

  const keep = <K extends 'joints' | 'signals' | 'inputs'>(kind: K) =>
    client.on(kind, (event) => {
      const hand = hands.get(event.hand);
      if (hand) (hand as unknown as Record<string, unknown>)[kind] = event;
    });
  keep('joints');
  client.on('health', (event) => {
    const hand = hands.get(event.hand);
    if (!hand) return;
    const held = verdicts.get(event.hand) ?? createHeldVerdicts();
    verdicts.set(event.hand, held);
    hand.health = { ...event, channels: held(event.channels, performance.now()) };
  });
  keep('signals');
  keep('inputs');
  client.on('resistance', (event) => {
    const hand = hands.get(event.hand);
    if (!hand) return;
    hand.resistance = event;
    if (hand.armed === event.armed) return;
    hand.armed = event.armed;
    changed();
  });
  client.on('welcome', (welcome) => {
    const sides = new Set(welcome.hands.map(({ hand }) => hand));
    for (const side of hands.keys()) if (!sides.has(side)) forget(side);
    for (const info of welcome.hands) {
      const known = hands.get(info.hand);
      // Another glove, or a recording in its place: what was said of the last one is not true of it.
      if (known && known.info.link.address !== info.link.address) verdicts.delete(info.hand);
      if (known) Object.assign(known, { info, armed: info.armed });
      else {
        hands.set(info.hand, {
          info,
          armed: info.armed,
          joints: undefined,
          health: undefined,
          resistance: undefined,
          signals: undefined,
          inputs: undefined,
        });
      }
    }
    changed();
  });
  client.on('state', (event) => {
    reason = event.reason ?? reason;
    // Without a connection nothing is known of now: what was last heard of pose, force or input is no longer true. The
    // next welcome says whether the glove is armed.
    if (event.state !== 'open') {
      for (const hand of hands.values()) {
        hand.armed = false;
        hand.joints = hand.resistance = hand.signals = hand.inputs = undefined;
      }
    }
    changed();
  });
  seen.subscribe((isSeen) => {
    client.adjust({ streams: isSeen ? undefined : [...UNSEEN_STREAMS] });
  });
  // Each control says for itself what was refused.
  client.on('error', () => {});

  return {
    client,
    hands,
    changed: { on: (listener) => events.on('changed', listener) },
    nameOf: createAppNames(),
    get connected() {
      return client.state === 'open';
    },
    get reason() {
      return reason;
    },
  };
}
