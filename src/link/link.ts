import type { FitsInUse } from '../config/fit-file.js';
import type { TautlineError } from '../errors.js';
import type { AppMessageOf } from '../protocol/messages.js';

/**
 * A link is the byte path to one glove. It is kept open as long as the service runs:
 *
 *   closed -> opening -> live -> lost -> waiting -> opening -> ...      (close() leads back to closed)
 *
 * `lost` is passed through the moment bytes stop for good; `waiting` is the pause before the next try.
 */
export type LinkState = 'closed' | 'opening' | 'live' | 'lost' | 'waiting';

export interface LinkStatus {
  state: LinkState;
  /** What the link leads to, for people: a port's path and USB identity, a radio's name, a file. */
  address: string;
  /** Why the link is lost or waiting; one clear line with the remedy. */
  error?: TautlineError;
  /** The session that is shown in place of a glove. */
  recorded?: string;
  /** The glove at its end is made up by this program. */
  simulated?: true;
  /** Milliseconds until the next try, while waiting. */
  retryInMs?: number;
}

export interface LinkEvents {
  /**
   * Bytes came in.
   * @param chunk valid only during the call (the receiver copies what it keeps)
   * @param arrivalUs host monotonic time of arrival, µs
   */
  bytes(chunk: Uint8Array, arrivalUs: number): void;
  status(status: LinkStatus): void;
  /** Of a recorded link: the glove fell silent here. */
  silent?(reason: string): void;
  /** Of a recorded link: a ping left here, for the pong that follows in the bytes. */
  pinged?(token: number, sentUs: number): void;
  /** Of a recorded link: this was done to the glove's chain here, at that time. */
  acted?(act: RecordedAct, timeUs: number): void;
}

/** What shapes a hand besides the glove's own bytes. */
export type RecordedAct =
  | { type: 'fits'; fits: FitsInUse }
  | { type: 'drift'; memory: readonly (number | null)[] }
  | { type: 'rezero' }
  /** It begins again, somewhere: nothing of before counts. Times are shown later by `shownLaterUs` from here on. */
  | { type: 'restart'; shownLaterUs: number }
  | (AppMessageOf<'tracker'> & { app?: string });

export interface Link {
  readonly status: LinkStatus;
  /** What comes was recorded: silences and pings come from the link, and nothing is concluded from the time. */
  readonly recorded?: boolean;
  /** Starts the link and keeps it; call once. Failures are reported through `events.status`. */
  open(events: LinkEvents): void;
  /**
   * Queues bytes to the glove. False when they were dropped: the link is not live, or it has more than
   * a frame or two unsent (a stale resist must never queue up behind a slow radio).
   * @param urgent send it even behind unsent frames: for a release, which must not be dropped
   */
  write(bytes: Uint8Array, urgent?: boolean): boolean;
  /** Ends the link after what was written has left; resolves when the port is free for others. */
  close(): Promise<void>;
}

/** One opened port: what a serial, radio, simulated or replay driver supplies to `keepLink`. */
export interface Port {
  /** For people, as LinkStatus.address. */
  readonly address: string;
  /** As Link.write. The bytes are valid only during the call. */
  write(bytes: Uint8Array, urgent?: boolean): boolean;
  close(): Promise<void>;
}

export interface PortEvents {
  bytes(chunk: Uint8Array, arrivalUs: number): void;
  /** The port ended by itself (unplugged, glove off, peer gone); called at most once, never after close(). */
  ended(error: TautlineError): void;
}

/**
 * Opens the port once; rejects with a TautlineError that says why and what to do.
 * @param abandoned aborts when nobody wants the port any more: an opening that takes seconds then ends early
 */
export type OpenPort = (events: PortEvents, abandoned?: AbortSignal) => Promise<Port>;
