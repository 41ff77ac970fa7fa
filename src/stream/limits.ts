import { MAX_APP_MESSAGE } from '../protocol/constants.js';

/** Limits of one connection. Tests shorten the times. */
export interface StreamLimits {
  /** A quiet connection is pinged this often. */
  pingEveryMs: number;
  /** Without a pong within this time the peer counts as gone, however open its socket looks. */
  pongWithinMs: number;
  /**
   * How often to ping while poses flow. A pong says that everything sent before has been read. So it shows how far
   * the reader is behind, which the socket does not: the kernel buffers megabytes.
   */
  probeEveryMs: number;
  /** When a pong takes longer than this, poses are held back until it comes; then the newest is sent. */
  behindAfterMs: number;
  /**
   * How often an app that holds something is pinged. What it holds ends when its connection has been silent for
   * `aliveWithinMs`, whatever lifetime was asked for: three pings may be late.
   */
  aliveEveryMs: number;
  aliveWithinMs: number;
  /** How often that is checked. */
  watchEveryMs: number;
  maxMessageBytes: number;
  /** Messages a second, and the size of a burst. */
  messagesPerS: number;
  /** Messages over the rate that are answered by errors before the connection is closed. */
  excessMessages: number;
  /** Time in each turn for looking at what has arrived, and for doing what apps ask: see scheduler.ts. */
  lookMs: number;
  actMs: number;
  /** Most bytes of one app's messages that may wait to be acted on. */
  maxWaitingBytes: number;
  /** A connection that has asked for nothing by then gives way to a newcomer when all places are taken. */
  speakWithinMs: number;
  /** Bytes of unread answers; beyond this the connection is closed. */
  maxUnreadBytes: number;
  /** Sockets at once for HTTP, besides those of `stream.maxClients` apps. */
  httpSockets: number;
  /** Sockets at once from one other machine. */
  maxSocketsPerAddress: number;
  /** The head of an HTTP request must arrive within this time of the connection; slow senders are shut out. */
  headersWithinMs: number;
  /** The same for the whole request. */
  requestWithinMs: number;
}

export const DEFAULT_LIMITS: StreamLimits = {
  pingEveryMs: 5000,
  pongWithinMs: 10_000,
  probeEveryMs: 250,
  behindAfterMs: 500,
  aliveEveryMs: 50,
  aliveWithinMs: 200,
  watchEveryMs: 10,
  maxMessageBytes: MAX_APP_MESSAGE,
  messagesPerS: 2000,
  excessMessages: 200,
  lookMs: 4,
  actMs: 4,
  maxWaitingBytes: 256 * 1024,
  speakWithinMs: 10_000,
  maxUnreadBytes: 256 * 1024,
  httpSockets: 64,
  maxSocketsPerAddress: 32,
  headersWithinMs: 5000,
  requestWithinMs: 10_000,
};
