import { MAX_APP_MESSAGE } from '../protocol/constants.js';

/** Bounds of one connection. The defaults are for use; tests shorten the times. */
export interface StreamLimits {
  /** A quiet connection is pinged this often. */
  pingEveryMs: number;
  /** No pong within this time: the peer is gone, however open its socket looks. */
  pongWithinMs: number;
  /**
   * While poses flow, how often to ping. The pong comes after everything sent before it was read, so it shows
   * how far the reader is behind, which the socket alone does not: the kernel takes megabytes.
   */
  probeEveryMs: number;
  /** A pong that takes longer than this: hold poses until it comes, then send the newest. */
  behindAfterMs: number;
  maxMessageBytes: number;
  /** Messages a second, and the burst. */
  messagesPerS: number;
  /** Messages over the rate that are answered by errors before the connection is closed. */
  excessMessages: number;
  /** A connection that has asked for nothing by then gives its place to a newcomer when all are taken. */
  speakWithinMs: number;
  /** Unread answers, bytes; more than that and the connection is closed. */
  maxUnreadBytes: number;
  /** Sockets at once beside those of `stream.maxClients` apps: for HTTP. */
  httpSockets: number;
  /** Sockets at once from one other machine. */
  maxSocketsPerAddress: number;
  /** The head of an HTTP request must be through within this time of the connection; slow senders are shut out. */
  headersWithinMs: number;
  /** The same for the whole request. */
  requestWithinMs: number;
}

export const DEFAULT_LIMITS: StreamLimits = {
  pingEveryMs: 5000,
  pongWithinMs: 10_000,
  probeEveryMs: 250,
  behindAfterMs: 500,
  maxMessageBytes: MAX_APP_MESSAGE,
  messagesPerS: 2000,
  excessMessages: 200,
  speakWithinMs: 10_000,
  maxUnreadBytes: 256 * 1024,
  httpSockets: 64,
  maxSocketsPerAddress: 32,
  headersWithinMs: 5000,
  requestWithinMs: 10_000,
};
