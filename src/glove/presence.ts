import type { GloveCodec, Pong } from '../link/codec.js';
import type { Link } from '../link/link.js';
import type { TimeSync } from '../link/time-sync.js';

const ASK_HELLO_US = 250_000;
/** Often enough for the glove's watchdog and for measuring the round trip. */
const PING_US = 1_000_000;
/** When beats are further apart than this, the process stalled and samples may be waiting unread. */
const STALLED_US = 60_000;

/** Whether the glove is there: it has described itself, and its samples arrive. Unless both hold, no finger is held. */
export interface Presence {
  /** The glove on this connection has described itself; until then its samples could be misread. */
  introduced: boolean;
  /** Host time of the newest sample; -Infinity while the glove is silent. */
  sampleTimeUs: number;
  /** A new connection: asks the glove for its hello. */
  connected(nowUs: number): void;
  /** The answer to a ping. */
  pong(pong: Pong, arrivalUs: number): void;
  /** Of a recording: a ping was sent here. */
  pinged(token: number, sentUs: number): void;
  /** Samples have stopped. */
  ceased(): void;
  /**
   * Asks for the hello, pings, and notices silence.
   * @param sampling samples have been arriving @returns true when they no longer do
   */
  beat(nowUs: number, sampling: boolean): boolean;
}

export interface PresenceSources {
  link: Link;
  codec: GloveCodec;
  timeSync: TimeSync;
  staleMs: number;
  send(bytes: Uint8Array, urgent?: boolean, nowUs?: number): boolean;
}

export function createPresence({ link, codec, timeSync, staleMs, send }: PresenceSources): Presence {
  let askedUs = Number.NEGATIVE_INFINITY;
  let pingedUs = Number.NEGATIVE_INFINITY;
  let pingToken = 0;
  let beatUs = Number.NEGATIVE_INFINITY;

  function askHello(nowUs: number): void {
    askedUs = nowUs;
    send(codec.askHello());
  }

  function ping(nowUs: number): void {
    pingedUs = nowUs;
    pingToken = (pingToken + 1) >>> 0;
    send(codec.ping(pingToken), false, nowUs);
  }

  return {
    introduced: false,
    sampleTimeUs: Number.NEGATIVE_INFINITY,
    connected(nowUs) {
      this.introduced = false;
      askHello(nowUs);
    },
    pong({ token, deviceTimeUs }, arrivalUs) {
      if (token === pingToken) timeSync.pong(pingedUs, deviceTimeUs, arrivalUs);
    },
    pinged(token, sentUs) {
      pingToken = token;
      pingedUs = sentUs;
    },
    ceased() {
      this.sampleTimeUs = Number.NEGATIVE_INFINITY;
    },
    beat(nowUs, sampling) {
      // After a stall of this process, decide at the next beat.
      const punctual = nowUs - beatUs < STALLED_US;
      beatUs = nowUs;
      if (link.status.state !== 'live' || link.recorded) return false;
      if (!this.introduced && nowUs - askedUs >= ASK_HELLO_US) askHello(nowUs);
      if (this.introduced && nowUs - pingedUs >= PING_US) ping(nowUs);
      return punctual && sampling && nowUs - this.sampleTimeUs > staleMs * 1000;
    },
  };
}
