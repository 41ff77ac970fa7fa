import type { Duplex } from 'node:stream';
import type { Logger } from 'pino';
import { logEvent } from '../log/events.js';
import type { AppMessage, AppMessageType, ServerMessage } from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';
import type { Broadcast, Reader } from './broadcast.js';
import { classifyDisarm } from './classify-disarm.js';
import type { Wanted } from './feed.js';
import { CLOSE, type Incoming } from './frame-reader.js';
import { Inbox, type Waiting } from './inbox.js';
import type { StreamLimits } from './limits.js';
import { Outbox } from './outbox.js';
import { Pings } from './pings.js';
import type { Encoding } from './poses.js';
import { RateLimit } from './rate-limit.js';
import { DOUBTED, notTaken, OVERTAKEN, STALE, tooLarge, tooMany, wrong } from './refusals.js';
import type { ScheduledApp, Scheduler } from './scheduler.js';
import { SignsOfLife } from './signs-of-life.js';
import { validate } from './validate.js';
import { Wire } from './wire.js';

/** What a connection needs from the service. */
export interface ConnectionHost {
  readonly limits: StreamLimits;
  readonly scheduler: Scheduler;
  /** Does what a valid message asks for; returns the answer. */
  act(connection: AppConnection, message: AppMessage): ServerMessage;
  /** Frees every finger of every hand. */
  disarmAll(connection: AppConnection): void;
  /** Ends what the app holds. */
  free(connection: AppConnection): void;
  /** Calls `watch` of every connection often, until none has anything to be watched for. */
  watchAll(): void;
  /** The connection has ended: forget it and drop what its app asked for. Called once. */
  ended(connection: AppConnection): void;
}

export interface ConnectionOptions {
  /** Id of the app, unique in this run of the service. */
  app: string;
  encoding: Encoding;
  socket: Duplex;
  host: ConnectionHost;
  logger: Logger;
  /** A browser opened it. */
  isPage?: boolean;
}

/** Messages that ask for force: none that was sent before a disarm counts after it. */
const FORCE: ReadonlySet<AppMessageType> = new Set(['arm', 'resist', 'touch', 'pulse']);
/** A force that was asked for this long ago is not what the app wants now: the usual lifetime of a request, ms. */
const STALE_MS = 250;
const STALE_TURNS = 4;
/** Messages that hold fingers for a while, and the longest while that a profile can permit, ms. */
const HOLDS: ReadonlySet<AppMessageType> = new Set(['resist', 'touch']);
const LONGEST_LIFE_MS = 1000;
/** A vibration may hold fingers for as long as an actuator may hold at most, ms (config/schema-glove.ts: maxHoldS). */
const LONGEST_GRASP_MS = 600_000;
/** A message with the word in it that is still incomplete after this time is a disarm. */
const WHOLE_WITHIN_MS = 50;

/**
 * One connection. What comes in passes the wire (frames), is searched for a disarm, waits in the inbox, and is acted
 * on in its turn; what goes out passes the outbox.
 */
export class AppConnection implements Reader, ScheduledApp {
  readonly app: string;
  readonly encoding: Encoding;
  readonly wire: Wire;
  /** Name that the app gave itself, for people. */
  name: string | undefined;
  /** The extension that opened it, when a pairing admitted it: it may see, and let go. */
  pairedOrigin: string | undefined;
  /** Name that its token proves. */
  proved: string | undefined;
  /** Has sent a valid request. */
  spoken = false;
  readonly sinceMs = performance.now();
  /** It speaks for an application that only vibrates, and the profile permits that its vibrations hold fingers. */
  grasps = false;
  /** Its subscription; undefined when it has none. */
  wanted: (Wanted & { hands: readonly string[] | undefined }) | undefined;
  servedMs = 0;

  readonly #host: ConnectionHost;
  readonly #logger: Logger;
  readonly #outbox: Outbox;
  readonly #inbox: Inbox;
  readonly #rateLimit: RateLimit;
  readonly #life: SignsOfLife;
  readonly #pings: Pings;
  #ended = false;
  /** Since when an incomplete message has had the word in it. */
  #wordSinceMs: number | undefined;

  constructor({ app, encoding, socket, host, logger, isPage = false }: ConnectionOptions) {
    const { limits } = host;
    this.app = app;
    this.encoding = encoding;
    this.#host = host;
    this.#logger = logger;
    this.#inbox = new Inbox(limits);
    this.#rateLimit = new RateLimit(limits, this.sinceMs);
    this.#life = new SignsOfLife(limits, isPage);
    this.wire = new Wire(socket, limits.maxMessageBytes, {
      arrived: () => {
        this.#life.bytes(performance.now(), this.wire.fresh);
        host.scheduler.arrived(this);
      },
      message: (message) => this.#receive(message),
      word: (final) => {
        if (final || this.#ended) host.disarmAll(this);
        else if (this.#wordSinceMs === undefined) {
          this.#wordSinceMs = performance.now();
          host.watchAll();
        }
      },
      pinged: ({ length }) => this.#mayReceive(performance.now()) && this.#outbox.mayAnswer(length),
      ponged: (payload) => this.#ponged(payload),
      tooBig: (bytes) => this.complain(tooLarge(bytes, limits.maxMessageBytes)),
      broke: (reason) => logEvent(logger, 'app.brokeProtocol', { app, reason }),
      left: () => this.end(),
    });
    this.#pings = new Pings((payload) => this.wire.ping(payload));
    this.#outbox = new Outbox({
      socket,
      maxUnreadBytes: limits.maxUnreadBytes,
      isOpen: () => this.wire.open,
      unread: () => {
        logEvent(logger, 'app.notReading', { app });
        this.close(CLOSE.tryAgainLater, 'answers are not read');
      },
    });
  }

  // ---- out -------------------------------------------------------------------------------------------------

  get behind(): boolean {
    return this.#outbox.behind;
  }

  get dropped(): number {
    return this.#outbox.dropped;
  }

  offer(broadcast: Broadcast): void {
    this.#outbox.offer(broadcast);
  }

  forget(broadcast: Broadcast): void {
    this.#outbox.forget(broadcast);
  }

  /** Sends an answer, or closes the connection when too many lie unread. */
  send(message: ServerMessage): void {
    this.#outbox.send(JSON.stringify(message));
  }

  complain(complaint: Refusal, id?: string | number): void {
    this.send({ type: 'error', ...(id === undefined ? {} : { id }), ...complaint });
  }

  // ---- in --------------------------------------------------------------------------------------------------

  /** Bytes that are kept of what the app sent. */
  get keeps(): number {
    return this.wire.keeps + this.#inbox.bytes;
  }

  look(): boolean {
    return this.wire.look();
  }

  #receive(message: Incoming): void {
    const nowMs = performance.now();
    this.#life.message(nowMs, this.wire.fresh);
    this.#wordSinceMs = undefined;
    if (!this.#mayReceive(nowMs)) {
      // However wild the app is, a request for less force is heard.
      if (message.hasWord) this.#host.disarmAll(this);
      return;
    }
    let heeded = false;
    if (message.hasWord) {
      const judgement = classifyDisarm(message.text);
      if (judgement.is === 'disarm') {
        this.spoken = true;
        this.#act(judgement.message);
        return;
      }
      heeded = judgement.is === 'disarmAll';
      if (heeded) this.#host.disarmAll(this);
    }
    const { scheduler } = this.#host;
    const overtaken = this.#pings.lineIsOpen;
    this.#inbox.put(message, { atMs: nowMs, turn: scheduler.count, overtaken, heeded });
    scheduler.asked(this);
  }

  #mayReceive(nowMs: number): boolean {
    if (this.#ended) return false;
    const allowed = this.#rateLimit.take(nowMs);
    if (allowed === 'yes') return true;
    if (allowed !== 'no') {
      this.#inbox.refuse(allowed);
      this.#host.scheduler.asked(this);
    }
    return false;
  }

  act(): boolean {
    this.#outbox.gather();
    const lost = this.#inbox.takeNotTaken();
    if (lost > 0) this.complain(notTaken(lost));
    const waiting = this.#inbox.take();
    if (waiting) this.#answer(waiting);
    return !this.#inbox.isEmpty;
  }

  rest(): void {
    this.#outbox.sendGathered();
  }

  #answer({ refused, text, atMs, turn, overtaken, heeded }: Waiting): void {
    if (refused) {
      this.complain(tooMany(this.#host.limits.messagesPerS));
      if (refused !== 'last') return;
      logEvent(this.#logger, 'app.tooManyMessages', { app: this.app });
      this.close(CLOSE.policy, 'too many messages');
      return;
    }
    if (text === undefined) {
      this.complain(wrong(undefined, heeded));
      return;
    }
    const checked = validate(text);
    if (!checked.ok) {
      this.complain(wrong(checked.complaint, heeded), checked.id);
      return;
    }
    this.spoken = true;
    const { type, id } = checked.message;
    if (overtaken && FORCE.has(type)) this.complain(OVERTAKEN, id);
    else if (FORCE.has(type) && this.#isStale(atMs, turn)) this.complain(STALE, id);
    else if (HOLDS.has(type) && this.#life.doubted) this.complain(DOUBTED, id);
    else this.#act(checked.message);
  }

  /** It has waited for what else was asked, and not only for a busy processor. */
  #isStale(atMs: number, turn: number): boolean {
    return this.#host.scheduler.count - turn > STALE_TURNS && performance.now() - atMs > STALE_MS;
  }

  #act(message: AppMessage): void {
    try {
      const answer = this.#host.act(this, message);
      if (answer.type === 'ack' && HOLDS.has(message.type)) this.#holds(LONGEST_LIFE_MS);
      else if (answer.type === 'ack' && message.type === 'pulse' && this.grasps)
        this.#holds(LONGEST_GRASP_MS);
      this.send(answer);
    } catch (error) {
      logEvent(this.#logger, 'app.requestFailed', { app: this.app, type: message.type, err: error });
      const line = `${message.type} failed inside the service; its log says why.`;
      this.complain({ code: 'internal', message: line }, message.id);
    }
  }

  #holds(forMs: number): void {
    this.#life.holds(performance.now() + forMs);
    this.#host.watchAll();
  }

  // ---- life ------------------------------------------------------------------------------------------------

  /** Somebody disarmed: what this app has sent until it can know of that asks for no force. */
  drawLine(): void {
    this.#inbox.overtake();
    this.#pings.drawLine(performance.now());
  }

  /** Called regularly: pings, and notices peers that are behind, gone or saying goodbye. */
  beat(nowMs: number): void {
    if (!this.wire.open) {
      this.end();
      return;
    }
    const { pingEveryMs, pongWithinMs, behindAfterMs } = this.#host.limits;
    const sinceMs = nowMs - this.#pings.sentMs;
    if (this.#pings.unanswered) {
      if (sinceMs > behindAfterMs) this.#outbox.heldBack = true;
      if (sinceMs > pongWithinMs) {
        logEvent(this.#logger, 'app.gone', { app: this.app });
        this.end();
        this.wire.terminate();
      }
    } else if (this.#outbox.hasSent || sinceMs >= pingEveryMs) this.#ping(nowMs);
  }

  /**
   * Called often: whoever holds fingers must show that it is alive.
   * @param late the service itself was: what shows it may be there, unread
   * @returns whether there is anything to watch still
   */
  watch(nowMs: number, late: boolean): boolean {
    if (this.#wordSinceMs !== undefined && nowMs - this.#wordSinceMs >= WHOLE_WITHIN_MS) {
      this.#wordSinceMs = undefined;
      this.#host.disarmAll(this);
    }
    if (late) this.#life.late(nowMs);
    if (this.#life.ends(nowMs)) {
      logEvent(this.#logger, 'app.silent', { app: this.app, name: this.name });
      this.#host.free(this);
    }
    const isHolder = this.#life.holding(nowMs) || this.#life.doubted;
    if (!isHolder) return this.#wordSinceMs !== undefined;
    const isDue = nowMs - this.#pings.sentMs >= this.#host.limits.aliveEveryMs;
    if (isDue && !this.#pings.unanswered && this.wire.open) this.#ping(nowMs);
    return true;
  }

  #ping(nowMs: number): void {
    this.#outbox.hasSent = false;
    this.#pings.send(nowMs);
  }

  #ponged(payload: Buffer): void {
    const nowMs = performance.now();
    const { sentMs } = this.#pings;
    if (!this.#pings.answered(payload, nowMs)) return;
    this.#life.pong(sentMs, nowMs);
    this.#outbox.heldBack = false;
    this.#outbox.flush();
  }

  close(code: number, reason: string): void {
    this.end();
    this.wire.close(code, reason);
  }

  /** The app is gone or as good as gone. */
  end(): void {
    if (this.#ended) return;
    this.#ended = true;
    // It may have begun to say the word.
    if (this.#wordSinceMs !== undefined) this.#host.disarmAll(this);
    this.#inbox.clear();
    this.#host.scheduler.left(this);
    this.#host.ended(this);
  }
}
