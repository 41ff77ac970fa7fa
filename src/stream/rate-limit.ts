export interface RateLimits {
  /** Messages a second, and the size of a burst. */
  messagesPerS: number;
  /** Messages over the rate that are refused one by one before the connection is closed. */
  excessMessages: number;
}

/** tooMany: over the rate. last: the same, and once too often. no: nothing is accepted any more. */
export type Allowed = 'yes' | 'tooMany' | 'last' | 'no';

/** How much one app may send: a token bucket, full at first, refilled at the permitted rate. Times are arguments, ms. */
export class RateLimit {
  #left: number;
  #atMs: number;
  #excess = 0;

  constructor(
    readonly limits: RateLimits,
    nowMs: number,
  ) {
    this.#left = limits.messagesPerS;
    this.#atMs = nowMs;
  }

  /** Asks for one message. */
  take(nowMs: number): Allowed {
    const { messagesPerS, excessMessages } = this.limits;
    if (this.#excess > excessMessages) return 'no';
    const refilled = this.#left + ((nowMs - this.#atMs) * messagesPerS) / 1000;
    this.#atMs = nowMs;
    if (refilled >= messagesPerS) {
      this.#left = messagesPerS;
      this.#excess = 0;
    } else this.#left = refilled;
    if (this.#left >= 1) {
      this.#left--;
      return 'yes';
    }
    return ++this.#excess > excessMessages ? 'last' : 'tooMany';
  }
}
