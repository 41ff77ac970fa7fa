import type { Session, SessionVisitor } from './session.js';

/** Something that happened on a link, ready to be replayed. */
export interface SessionEvent {
  timeUs: number;
  play(): void;
}

/** The events of a session in their order, read chunk by chunk as they are needed. */
export interface EventQueue {
  /** The next chunk to be read; only meaningful while `empty`. */
  readonly chunk: number;
  /** Nothing is left of a chunk that was read. */
  readonly empty: boolean;
  /** Events before this are omitted. */
  readonly fromUs: number;
  /** @param fromUs -Infinity: from the start of the session */
  startAt(fromUs: number): void;
  /** The next event, still in the queue; undefined at the end of the session. */
  peek(): SessionEvent | undefined;
  /** Takes the event that `peek` gave. */
  take(): void;
  /** Plays the whole next chunk without keeping its events. */
  passChunk(visitor: SessionVisitor): void;
}

/** @param feed what each event does when it is played */
export function createEventQueue(session: Session, feed: SessionVisitor): EventQueue {
  let events: SessionEvent[] = [];
  let next = 0;
  let chunk = 0;
  let fromUs = Number.NEGATIVE_INFINITY;

  function push(timeUs: number, play: () => void): void {
    if (timeUs >= fromUs) events.push({ timeUs, play });
  }
  /** Copies bytes, for the buffer of a chunk is used again. */
  const collect: SessionVisitor = {
    glove: (hand, timeUs, body) => push(timeUs, () => feed.glove!(hand, timeUs, body)),
    fits: (hand, timeUs, body) => push(timeUs, () => feed.fits!(hand, timeUs, body)),
    request: (hand, timeUs, body) => push(timeUs, () => feed.request!(hand, timeUs, body)),
    status: (hand, timeUs, body) => push(timeUs, () => feed.status!(hand, timeUs, body)),
    received(hand, timeUs, bytes) {
      const copy = Uint8Array.prototype.slice.call(bytes);
      push(timeUs, () => feed.received!(hand, timeUs, copy));
    },
    sent(hand, timeUs, bytes) {
      const copy = Uint8Array.prototype.slice.call(bytes);
      push(timeUs, () => feed.sent!(hand, timeUs, copy));
    },
  };

  return {
    get chunk() {
      return chunk;
    },
    get empty() {
      return next >= events.length;
    },
    get fromUs() {
      return fromUs;
    },
    startAt(startUs) {
      events = [];
      next = 0;
      fromUs = startUs;
      chunk = startUs === Number.NEGATIVE_INFINITY ? 0 : session.chunkAt(startUs);
    },
    peek() {
      while (next >= events.length) {
        if (chunk >= session.chunkCount) return undefined;
        events = [];
        next = 0;
        session.visitChunk(chunk++, collect);
      }
      return events[next];
    },
    take() {
      next++;
    },
    passChunk(visitor) {
      session.visitChunk(chunk++, visitor);
    },
  };
}
