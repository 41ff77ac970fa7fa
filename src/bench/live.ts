import type { HandSide } from '../hand/joints.js';
import { HAND_SIDES } from '../hand/joints.js';
import { decodeJoints, type JointsRecord } from '../stream/joints-record.js';
import type { ServerMessageOf } from '../stream/protocol.js';
import type { Connection } from './connection.js';
import { createSignal } from './signal.js';

export type HandInfo = ServerMessageOf<'welcome'>['hands'][number];
export type Health = ServerMessageOf<'health'>;
export type Resistance = ServerMessageOf<'resistance'>;

/** All that is known of one hand; the newest of each kind. */
export interface LiveHand {
  info: HandInfo;
  armed: boolean;
  health: Health | undefined;
  resistance: Resistance | undefined;
  /** The newest pose; undefined until the first. Decoded when it is read, so poses that nobody sees cost nothing. */
  readonly joints: JointsRecord | undefined;
  /** Poses received in all. */
  poses: number;
}

export type Live = ReturnType<typeof createLive>;

/** What the page knows of the service, from the stream alone. */
export function createLive(connection: Connection) {
  const hands = new Map<HandSide, LiveHand & { take(bytes: ArrayBuffer): void }>();
  const changed = createSignal<undefined>();
  const joints = createSignal<undefined>();
  const health = createSignal<Health>();
  const resistance = createSignal<Resistance>();
  let app = '';
  let version = '';

  connection.records.on((bytes) => {
    const side = HAND_SIDES[new Uint8Array(bytes, 1, 1)[0]];
    hands.get(side)?.take(bytes);
    joints.emit(undefined);
  });
  connection.messages.on((message) => {
    switch (message.type) {
      case 'welcome':
        welcome(message);
        break;
      case 'health': {
        const hand = hands.get(message.hand);
        if (hand) hand.health = message;
        health.emit(message);
        break;
      }
      case 'resistance': {
        const hand = hands.get(message.hand);
        if (!hand) break;
        const armedChanged = hand.armed !== message.armed;
        hand.armed = message.armed;
        hand.resistance = message;
        if (armedChanged) changed.emit(undefined);
        resistance.emit(message);
        break;
      }
      default:
    }
  });
  connection.state.on((open) => {
    if (open) {
      void connection
        .ask({ type: 'subscribe', app: 'Bench page', streams: ['joints', 'inputs', 'resistance', 'health'] })
        .catch(() => {});
    }
    changed.emit(undefined);
  });

  function welcome(message: ServerMessageOf<'welcome'>): void {
    app = message.app;
    version = message.server.version;
    const sides = new Set(message.hands.map(({ hand }) => hand));
    for (const side of hands.keys()) if (!sides.has(side)) hands.delete(side);
    for (const info of message.hands) {
      const known = hands.get(info.hand);
      if (known) {
        known.info = info;
        known.armed = info.armed;
      } else hands.set(info.hand, createHand(info));
    }
    changed.emit(undefined);
  }

  return {
    hands: hands as ReadonlyMap<HandSide, LiveHand>,
    /** Hands, arming or connection changed. */
    changed,
    /** A new pose of some hand. */
    joints,
    health,
    resistance,
    connection,
    get connected() {
      return connection.open;
    },
    /** The service's name for this page. */
    get app() {
      return app;
    },
    get version() {
      return version;
    },
  };
}

function createHand(info: HandInfo): LiveHand & { take(bytes: ArrayBuffer): void } {
  let newest: ArrayBuffer | undefined;
  let record: JointsRecord | undefined;
  return {
    info,
    armed: info.armed,
    health: undefined,
    resistance: undefined,
    poses: 0,
    take(bytes) {
      newest = bytes;
      this.poses++;
    },
    get joints() {
      if (newest) record = decodeJoints(newest, record);
      newest = undefined;
      return record;
    },
  };
}
