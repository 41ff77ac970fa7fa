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
  /**
   * While an app holds something, how often it is pinged. What it holds ends when its connection has been silent for
   * `aliveWithinMs`, whatever life was asked for: three pings may be late.
   */
  aliveEveryMs: number;
  aliveWithinMs: number;
  /** How often that is looked at. */
  watchEveryMs: number;
  maxMessageBytes: number;
  /** Messages a second, and the burst. */
  messagesPerS: number;
  /** Messages over the rate that are answered by errors before the connection is closed. */
  excessMessages: number;
  /** Of each turn, for looking at what came, and for doing what apps ask: see scheduler.ts. */
  lookMs: number;
  actMs: number;
  /** Most bytes of messages of one app that wait to be acted on. */
  maxWaitingBytes: number;
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
