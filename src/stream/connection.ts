import type { Duplex } from 'node:stream';
import type { Logger } from 'pino';
import { WebSocket } from 'ws';
import { logEvent } from '../log/events.js';
import type { AppMessage, ServerMessage } from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';
import type { Broadcast, Reader } from './broadcast.js';
import type { Wanted } from './feed.js';
import type { StreamLimits } from './limits.js';
import type { Encoding } from './poses.js';
import { validate } from './validate.js';
import { frameText } from './websocket-frame.js';

/** WebSocket close codes (RFC 6455, 7.4.1, and the IANA registry). */
export const CLOSE = { goingAway: 1001, policy: 1008, tooBig: 1009, tryAgainLater: 1013 } as const;

/** After the close frame the peer has this long to close its side. */
const CLOSE_GRACE_MS = 1000;
/** More than any disarm message needs, bytes. */
const LONGEST_DISARM = 256;

/** What a session needs from the service. */
export interface SessionHost {
  readonly limits: StreamLimits;
  /** Does what a valid message asks; returns the answer. */
  act(session: Session, message: AppMessage): ServerMessage;
  /** Frees every finger of every hand. */
  disarmAll(session: Session): void;
  /** The session ended: forget it, drop what its app asked for. Called once. */
  ended(session: Session): void;
}

/** One connection: checks what comes in, and sends what goes out no faster than it is read. */
export class Session implements Reader {
  /** Name that the app gave itself, for people. */
  name: string | undefined;
  /** Name that its token proves. */
  proved: string | undefined;
  /** Has asked for something that could be understood. */
  spoken = false;
  readonly sinceMs = performance.now();
  /** Its subscription; undefined when it has none. */
  wanted: (Wanted & { hands: readonly string[] | undefined }) | undefined;
  /** Messages that were replaced by newer ones before this reader could take them. */
  dropped = 0;

  readonly #owed: Broadcast[] = [];
  #ended = false;
  #closing = false;
  #behind = false;
  #sentSincePing = false;
  #awaitingPong = false;
  #pingedAtMs = performance.now();
  #allowance: number;
  #allowanceAtMs = performance.now();
  #excess = 0;

  /**
   * @param app id of the app, unique in this run of the service
   * @param socket the socket under `ws`, for messages that are framed already
   */
  constructor(
    readonly app: string,
    readonly encoding: Encoding,
    readonly ws: WebSocket,
    readonly socket: Duplex,
    readonly host: SessionHost,
    readonly logger: Logger,
  ) {
    this.#allowance = host.limits.messagesPerS;
    ws.on('message', (data, isBinary) => this.#receive(data as Buffer, isBinary));
    ws.on('ping', (data: Buffer) => {
      if (this.#mayReceive() && this.#mayAnswer(data.length)) ws.pong(data);
    });
    ws.on('pong', () => this.#pong());
    ws.on('error', (error) => logEvent(logger, 'app.brokeProtocol', { app, reason: error.message }));
    ws.on('close', () => this.end());
    // Before the closing handshake is through: forces must not outlive the app by a slow goodbye.
    socket.on('end', () => this.end());
  }

  get behind(): boolean {
    return this.#behind || this.socket.writableLength > 0;
  }

  // ---- out -------------------------------------------------------------------------------------------------

  /** Sends now if everything sent before has left, else owes the broadcast: the newest message later. */
  offer(broadcast: Broadcast): void {
    if (this.#behind || this.socket.writableLength > 0) {
      if (this.#owed.includes(broadcast)) this.dropped++;
      else this.#owed.push(broadcast);
    } else this.#write(broadcast);
  }

  forget(broadcast: Broadcast): void {
    const at = this.#owed.indexOf(broadcast);
    if (at >= 0) this.#owed.splice(at, 1);
  }

  /** Sends an answer, or closes the connection when too many lie unread. */
  send(message: ServerMessage): void {
    const frame = frameText(JSON.stringify(message));
    if (this.#mayAnswer(frame.length)) this.socket.write(frame, this.#written);
  }

  close(code: number, reason: string): void {
    if (this.#closing) return;
    this.#closing = true;
    this.end();
    this.ws.close(code, reason);
    setTimeout(() => this.ws.terminate(), CLOSE_GRACE_MS).unref();
  }

  #write(broadcast: Broadcast): void {
    const { message } = broadcast;
    if (!message || this.ws.readyState !== WebSocket.OPEN) return;
    this.#sentSincePing = true;
    this.socket.write(message, this.#written);
    if (this.socket.writableLength > 0) broadcast.lent = true;
  }

  /** One function for every write, so that none is made per message. */
  readonly #written = (): void => {
    if (this.#owed.length > 0) this.#flush();
  };

  #flush(): void {
    while (this.#owed.length > 0 && !this.#behind && this.socket.writableLength === 0) {
      this.#write(this.#owed.shift()!);
    }
  }

  #mayAnswer(bytes: number): boolean {
    if (this.ws.readyState !== WebSocket.OPEN || this.#closing) return false;
    if (this.socket.writableLength + bytes <= this.host.limits.maxUnreadBytes) return true;
    logEvent(this.logger, 'app.notReading', { app: this.app });
    this.close(CLOSE.tryAgainLater, 'answers are not read');
    return false;
  }

  // ---- in --------------------------------------------------------------------------------------------------

  #receive(data: Buffer, isBinary: boolean): void {
    if (!this.#mayReceive()) {
      // However wild the app is, a request for less force is heard.
      if (data.length < LONGEST_DISARM && data.includes('"disarm"')) this.host.disarmAll(this);
      return;
    }
    const { maxMessageBytes } = this.host.limits;
    if (data.length > maxMessageBytes) {
      const message = `The message has ${data.length} bytes; ${maxMessageBytes} are permitted.`;
      this.complain({ code: 'tooLarge', message });
      this.close(CLOSE.tooBig, message);
      return;
    }
    if (isBinary) {
      this.complain({ code: 'badJson', message: 'The message is binary; apps send JSON text.' });
      return;
    }
    const checked = validate(data.toString());
    if (checked.ok) {
      this.spoken = true;
      this.#act(checked.message);
    } else {
      if (checked.type === 'disarm') this.host.disarmAll(this);
      this.complain(checked.complaint, checked.id);
    }
  }

  #act(message: AppMessage): void {
    try {
      this.send(this.host.act(this, message));
    } catch (error) {
      logEvent(this.logger, 'app.requestFailed', { app: this.app, type: message.type, err: error });
      const line = `${message.type} failed inside the service; its log says why.`;
      this.complain({ code: 'internal', message: line }, message.id);
    }
  }

  complain(complaint: Refusal, id?: string | number): void {
    this.send({ type: 'error', ...(id === undefined ? {} : { id }), ...complaint });
  }

  /** A token bucket: full at first, refilled at the permitted rate. */
  #mayReceive(): boolean {
    if (this.#closing) return false;
    const { messagesPerS, excessMessages } = this.host.limits;
    const nowMs = performance.now();
    const refilled = this.#allowance + ((nowMs - this.#allowanceAtMs) * messagesPerS) / 1000;
    this.#allowanceAtMs = nowMs;
    if (refilled >= messagesPerS) {
      this.#allowance = messagesPerS;
      this.#excess = 0;
    } else this.#allowance = refilled;
    if (this.#allowance >= 1) {
      this.#allowance--;
      return true;
    }
    const message = `More than ${messagesPerS} messages a second; this one was not taken.`;
    this.complain({ code: 'tooMany', message });
    if (++this.#excess > excessMessages) {
      logEvent(this.logger, 'app.tooManyMessages', { app: this.app });
      this.close(CLOSE.policy, 'too many messages');
    }
    return false;
  }

  // ---- life ------------------------------------------------------------------------------------------------

  /** Called regularly: pings, and notices peers that are behind, gone or saying goodbye. */
  beat(nowMs: number): void {
    if (this.ws.readyState !== WebSocket.OPEN) {
      this.end();
      return;
    }
    const { pingEveryMs, pongWithinMs, behindAfterMs } = this.host.limits;
    const sinceMs = nowMs - this.#pingedAtMs;
    if (this.#awaitingPong) {
      if (sinceMs > behindAfterMs) this.#behind = true;
      if (sinceMs > pongWithinMs) {
        logEvent(this.logger, 'app.gone', { app: this.app });
        this.end();
        this.ws.terminate();
      }
    } else if (this.#sentSincePing || sinceMs >= pingEveryMs) {
      this.#sentSincePing = false;
      this.#awaitingPong = true;
      this.#pingedAtMs = nowMs;
      this.ws.ping();
    }
  }

  #pong(): void {
    this.#awaitingPong = false;
    this.#behind = false;
    this.#flush();
  }

  /** The app is gone or as good as gone. */
  end(): void {
    if (this.#ended) return;
    this.#ended = true;
    this.host.ended(this);
  }
}
