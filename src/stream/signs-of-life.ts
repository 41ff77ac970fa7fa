/**
 * Whether an app that holds fingers is alive. What it holds ends when its connection has been silent for
 * `aliveWithinMs`, whatever lifetime was asked for: an app that is frozen, or behind a dead network, answers no ping. For
 * a web page only messages count, since its browser answers pings even while its script hangs.
 *
 * Bytes count when their read has emptied the socket: those from a long queue may be of an app that has frozen since.
 * Pure: times are arguments, ms.
 */

export interface LifeLimits {
  /** How often an app that holds something is pinged. */
  aliveEveryMs: number;
  /** A connection that has been silent for this long may hold nothing. */
  aliveWithinMs: number;
}

/** After a stall of the service itself: what had come meanwhile is not read yet, and pings have not gone out. */
const GRACE_MS = 80;

export class SignsOfLife {
  #heardMs = Number.NEGATIVE_INFINITY;
  /** Grace was given since it was last heard: a service that is always late may not hold anybody by that. */
  #graced = false;
  #holdsUntilMs = Number.NEGATIVE_INFINITY;
  #doubted = false;

  /** @param isPage a browser opened the connection */
  constructor(
    readonly limits: LifeLimits,
    readonly isPage: boolean,
  ) {}

  /** It went silent and has shown no life since: it may hold nothing. */
  get doubted(): boolean {
    return this.#doubted;
  }

  /** Bytes have arrived. @param fresh their read has emptied the socket */
  bytes(nowMs: number, fresh: boolean): void {
    if (fresh && !this.isPage) this.#hear(nowMs);
  }

  /** A message has arrived. */
  message(nowMs: number, fresh: boolean): void {
    if (!fresh || !this.isPage) return;
    this.#hear(nowMs);
    this.#doubted = false;
  }

  /** The ping that was sent at `pingedMs` has been answered. */
  pong(pingedMs: number, nowMs: number): void {
    if (this.isPage || nowMs - pingedMs >= this.limits.aliveWithinMs) return;
    this.#hear(nowMs);
    this.#doubted = false;
  }

  /** The service itself was late: an app is given the time to show that it was not, once. */
  late(nowMs: number): void {
    const graceMs = nowMs - this.limits.aliveWithinMs + GRACE_MS;
    if (this.#graced || this.#heardMs >= graceMs) return;
    this.#graced = true;
    this.#heardMs = graceMs;
  }

  #hear(nowMs: number): void {
    this.#heardMs = nowMs;
    this.#graced = false;
  }

  /** It was granted something that lasts until then. */
  holds(untilMs: number): void {
    this.#holdsUntilMs = Math.max(this.#holdsUntilMs, untilMs);
  }

  /** It may be holding something, so it must be pinged often. */
  holding(nowMs: number): boolean {
    return nowMs < this.#holdsUntilMs;
  }

  /** @returns true, once, when what it holds must end now */
  ends(nowMs: number): boolean {
    if (!this.holding(nowMs) || nowMs - this.#heardMs < this.limits.aliveWithinMs) return false;
    this.#holdsUntilMs = Number.NEGATIVE_INFINITY;
    this.#doubted = true;
    return true;
  }
}
