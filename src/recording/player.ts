import { type Clock, systemClock } from '../clock.js';
import { createEventQueue } from './event-queue.js';
import { feedLinks, type ReplayLinks } from './feed-links.js';
import type { Session, SessionVisitor } from './session.js';

/** Plays a session into links: at its own pace, faster or slower, or as fast as possible. */
export interface Player {
  readonly state: PlayerState;
  /** Resolves at the end (never while looping), or when closed. */
  readonly ended: Promise<void>;
  play(): void;
  pause(): void;
  /** @param positionS seconds from the start of the session */
  seek(positionS: number): void;
  /** @param speed times the original pace; Infinity: as fast as possible */
  setSpeed(speed: number): void;
  close(): void;
}

export interface PlayerState {
  positionS: number;
  durationS: number;
  /** null: as fast as possible. */
  speed: number | null;
  playing: boolean;
  ended: boolean;
  /** How often it has started over. */
  loops: number;
}

export interface PlayerOptions {
  session: Session;
  links: ReplayLinks;
  /** Seconds from the start of the session. */
  fromS?: number;
  toS?: number;
  loop?: boolean;
  speed?: number;
  clock?: Clock;
}

/** Events played at a time, so that a replay at full speed leaves time for the stream. */
const SLICE = 2000;
/** Between the last time before a jump and the first one after it, µs. */
const JUMP_US = 20_000;
const MIN_TICK_MS = 1;
/** Times of chunks are rounded by less, µs. */
const ROUNDED_US = 10;

export function createPlayer(options: PlayerOptions): Player {
  const { session, links, loop = false, clock = systemClock } = options;
  const { startUs, endUs } = session;
  const clamp = (us: number): number => Math.min(Math.max(us, startUs), endUs);
  const fromUs = clamp(startUs + (options.fromS ?? 0) * 1e6);
  const toUs = clamp(options.toS === undefined ? endUs : startUs + options.toS * 1e6);
  const feed = feedLinks(links);
  const queue = createEventQueue(session, feed);

  let speed = options.speed ?? 1;
  let playing = false;
  let ended = false;
  let closed = false;
  let playedEvents = 0;
  let loops = 0;
  let started = false;
  let positionUs = fromUs;
  /** Latest time shown. */
  let latestUs = Number.NEGATIVE_INFINITY;
  let anchorUs = 0;
  let anchorPositionUs = fromUs;
  let cancelTick = (): void => {};
  let tellEnded = (): void => {};
  const whenEnded = new Promise<void>((resolve) => {
    tellEnded = resolve;
  });

  /** Goes to a time of the session; the links learn the state at that time. */
  function enter(atUs: number): void {
    positionUs = atUs;
    const atStart = atUs <= startUs;
    queue.startAt(atStart ? Number.NEGATIVE_INFINITY : atUs);
    if (started) {
      const laterUs = latestUs + JUMP_US - atUs;
      for (const link of links.values()) {
        link.leave('The replay has jumped.');
        link.restart(Math.max(link.shownLaterUs, laterUs));
      }
    }
    for (const [hand, link] of links) {
      const { glove, fits, status, drift } = session.stateAt(hand, atUs + ROUNDED_US);
      if (!atStart) {
        if (fits) feed.fits!(hand, atUs, fits);
        if (glove) feed.glove!(hand, atUs, glove);
        link.enter(atUs, glove, status);
      }
      if (drift) link.act(atUs, { type: 'drift', memory: drift.memory });
    }
    started = true;
    anchor();
  }

  function anchor(): void {
    anchorUs = clock.nowUs();
    anchorPositionUs = positionUs;
  }

  const note = (timeUs: number): void => {
    if (timeUs > positionUs) positionUs = timeUs;
  };
  /** Plays without keeping: for a chunk that is played whole. */
  const direct: SessionVisitor = {
    ...feed,
    received(hand, timeUs, bytes) {
      note(timeUs);
      playedEvents++;
      feed.received!(hand, timeUs, bytes);
    },
  };

  /** As fast as it goes: chunk by chunk, as long as all of a chunk is to be played. */
  function pumpChunks(): void {
    for (let played = 0; played < SLICE && queue.empty; ) {
      const { chunk } = queue;
      if (chunk >= session.chunkCount) return;
      // Chunks at the ends of the part go event by event.
      if (session.chunkStartUs(chunk) < queue.fromUs + ROUNDED_US) return;
      if (toUs < endUs && session.chunkEndUs(chunk) > toUs - ROUNDED_US) return;
      const count = playedEvents;
      queue.passChunk(direct);
      played += playedEvents - count;
      if (!playing) return;
    }
  }

  /** Plays what is due by then, at most a slice. @returns whether all of it was played */
  function pump(untilUs: number): boolean {
    for (let n = 0; n < SLICE; n++) {
      const event = queue.peek();
      if (!event || event.timeUs > untilUs) return true;
      queue.take();
      // A merged session may step back by a little.
      note(event.timeUs);
      event.play();
      if (!playing) return true;
    }
    return false;
  }

  function tick(): void {
    if (!playing) return;
    const dueUs =
      speed === Number.POSITIVE_INFINITY ? toUs : anchorPositionUs + (clock.nowUs() - anchorUs) * speed;
    const untilUs = Math.min(dueUs, toUs);
    if (speed === Number.POSITIVE_INFINITY) {
      const before = playedEvents;
      pumpChunks();
      noteLatest();
      if (playedEvents - before >= SLICE) {
        cancelTick = clock.after(0, tick);
        return;
      }
    }
    const all = pump(untilUs);
    noteLatest();
    if (!playing) return;
    if (!all) {
      cancelTick = clock.after(0, tick);
      return;
    }
    positionUs = Math.max(positionUs, untilUs);
    const next = queue.peek();
    if (untilUs >= toUs || !next) {
      finish();
      return;
    }
    const waitUs = (Math.min(next.timeUs, toUs) - anchorPositionUs) / speed - (clock.nowUs() - anchorUs);
    cancelTick = clock.after(Math.max(MIN_TICK_MS, waitUs / 1000), tick);
  }

  function noteLatest(): void {
    for (const link of links.values()) latestUs = Math.max(latestUs, positionUs + link.shownLaterUs);
  }

  function finish(): void {
    if (loop && toUs > fromUs) {
      loops++;
      enter(fromUs);
      cancelTick = clock.after(0, tick);
      return;
    }
    playing = false;
    ended = true;
    positionUs = toUs;
    for (const link of links.values()) link.leave('The replay has ended.');
    tellEnded();
  }

  return {
    get state() {
      return {
        positionS: (positionUs - startUs) / 1e6,
        durationS: (endUs - startUs) / 1e6,
        speed: speed === Number.POSITIVE_INFINITY ? null : speed,
        playing,
        ended,
        loops,
      };
    },
    ended: whenEnded,
    play() {
      if (playing || closed) return;
      if (!started || ended) enter(fromUs);
      ended = false;
      playing = true;
      anchor();
      tick();
    },
    pause() {
      playing = false;
      cancelTick();
    },
    seek(positionS) {
      if (closed) return;
      cancelTick();
      noteLatest();
      ended = false;
      enter(clamp(startUs + positionS * 1e6));
      if (playing) tick();
    },
    setSpeed(next) {
      cancelTick();
      speed = next;
      anchor();
      if (playing) tick();
    },
    close() {
      closed = true;
      playing = false;
      cancelTick();
      tellEnded();
    },
  };
}
