import type { HandSide } from '../hand/joints.js';
import { KINDS, type Kind } from './topics.js';

/** What waits for the broker: bounded in bytes and in time, and what is worth least goes first. */

export interface Outgoing {
  kind: Kind;
  hand: HandSide | undefined;
  bytes: Uint8Array;
  /** When it was put, ms of any clock. */
  atMs: number;
}

/** What may be dropped, in this order. Of what is retained, only the newest waits, and that is never dropped. */
export const DROPPED_IN_TURN = ['poses', 'events', 'raw'] as const;
export type DroppedClass = (typeof DROPPED_IN_TURN)[number];

export interface OutgoingQueue {
  /** Of everything that waits or is under way. */
  readonly bytes: number;
  /** Messages that were dropped, since the start. */
  readonly dropped: Readonly<Record<DroppedClass, number>>;
  put(message: Outgoing): void;
  /**
   * The next to be sent, which is under way from then on; undefined when there is nothing.
   * @param posesAlone nothing that the broker has to confirm
   */
  next(nowMs: number, posesAlone?: boolean): Outgoing | undefined;
  /** It has arrived, or is lost for good. */
  done(message: Outgoing): void;
  /** They were under way when the connection broke; in their order. They come first again. */
  back(messages: readonly Outgoing[]): void;
  /** A broker that may have forgotten what is retained gets it again. */
  renew(): void;
}

export interface QueueLimits {
  maxBytes: number;
  /** Longest that raw bytes wait, ms. */
  maxRawMs: number;
}

/** Nobody wants an older pose, nor an older event. */
const MAX_AGE_MS = { poses: KINDS.joints.expiryS * 1000, events: KINDS.inputs.expiryS * 1000 };

export function createOutgoingQueue({ maxBytes, maxRawMs }: QueueLimits): OutgoingQueue {
  const maxAgeMs = { ...MAX_AGE_MS, raw: maxRawMs };
  const lines: Record<DroppedClass, Line> = { poses: createLine(), events: createLine(), raw: createLine() };
  const dropped: Record<DroppedClass, number> = { poses: 0, events: 0, raw: 0 };
  /** The newest of what is retained, by topic. */
  const latest = new Map<string, { message: Outgoing; waits: boolean }>();
  let bytes = 0;

  function drop(of: DroppedClass): void {
    const message = lines[of].shift();
    if (!message) return;
    bytes -= message.bytes.length;
    dropped[of]++;
  }

  function makeRoom(): void {
    for (const of of DROPPED_IN_TURN) {
      while (bytes > maxBytes && lines[of].first) drop(of);
    }
  }

  function forgetOld(nowMs: number): void {
    for (const of of DROPPED_IN_TURN) {
      for (;;) {
        const { first } = lines[of];
        if (!first || nowMs - first.atMs <= maxAgeMs[of]) break;
        drop(of);
      }
    }
  }

  return {
    get bytes() {
      return bytes;
    },
    dropped,
    put(message) {
      const of = classOf(message.kind);
      if (of === undefined) {
        latest.set(keyOf(message), { message, waits: true });
        return;
      }
      forgetOld(message.atMs);
      lines[of].push(message);
      bytes += message.bytes.length;
      makeRoom();
    },
    next(nowMs, posesAlone = false) {
      forgetOld(nowMs);
      if (posesAlone) return lines.poses.shift();
      for (const entry of latest.values()) {
        if (!entry.waits) continue;
        entry.waits = false;
        return entry.message;
      }
      return lines.poses.shift() ?? lines.events.shift() ?? lines.raw.shift();
    },
    done(message) {
      if (classOf(message.kind) !== undefined) bytes -= message.bytes.length;
    },
    back(messages) {
      for (const message of messages.toReversed()) {
        const of = classOf(message.kind);
        const entry = latest.get(keyOf(message));
        if (of !== undefined) lines[of].unshift(message);
        // A newer one may wait by now.
        else if (entry?.message === message) entry.waits = true;
      }
    },
    renew() {
      for (const entry of latest.values()) entry.waits = true;
    },
  };
}

const keyOf = ({ kind, hand }: Outgoing): string => `${kind} ${hand ?? ''}`;

/** Undefined: of what is retained. */
function classOf(kind: Kind): DroppedClass | undefined {
  if (KINDS[kind].retain) return undefined;
  return kind === 'joints' ? 'poses' : kind === 'raw' ? 'raw' : 'events';
}

/** First in, first out, without moving what waits. */
interface Line {
  readonly first: Outgoing | undefined;
  push(message: Outgoing): void;
  unshift(message: Outgoing): void;
  shift(): Outgoing | undefined;
}

function createLine(): Line {
  let items: (Outgoing | undefined)[] = [];
  let from = 0;
  return {
    get first() {
      return items[from];
    },
    push: (message) => void items.push(message),
    unshift(message) {
      if (from > 0) items[--from] = message;
      else items.unshift(message);
    },
    shift() {
      const message = items[from];
      if (message === undefined) return undefined;
      items[from++] = undefined;
      if (from > 1024 || from === items.length) {
        items = items.slice(from);
        from = 0;
      }
      return message;
    },
  };
}
