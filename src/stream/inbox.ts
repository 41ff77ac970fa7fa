import type { Incoming } from './frame-reader.js';

/** What an app has sent and has not had an answer to yet, bounded in bytes. */
export interface Waiting {
  /** It must be refused for being over the rate; `last`: and the connection closed. */
  readonly refused?: 'tooMany' | 'last';
  /** Undefined: it was binary. */
  readonly text: string | undefined;
  /** When it arrived, ms, and in which turn. */
  readonly atMs: number;
  readonly turn: number;
  /** Sent before the app could know of a disarm: what it asks in force does not count. */
  overtaken: boolean;
  /** It may have been meant as a disarm, and was treated as one. */
  readonly heeded: boolean;
}

export interface InboxLimits {
  /** Most messages that may wait. */
  messagesPerS: number;
  /** Most bytes that may wait. */
  maxWaitingBytes: number;
}

export class Inbox {
  readonly #waiting: (Waiting & { bytes: number })[] = [];
  #bytes = 0;
  #notTaken = 0;

  constructor(readonly limits: InboxLimits) {}

  get bytes(): number {
    return this.#bytes;
  }

  get isEmpty(): boolean {
    return this.#waiting.length === 0 && this.#notTaken === 0;
  }

  /** Adds a message; when too many are waiting, it is counted and dropped. */
  put({ text, bytes }: Incoming, of: Pick<Waiting, 'atMs' | 'turn' | 'overtaken' | 'heeded'>): void {
    const { messagesPerS, maxWaitingBytes } = this.limits;
    if (this.#waiting.length >= messagesPerS || this.#bytes + bytes > maxWaitingBytes) {
      this.#notTaken++;
      return;
    }
    this.#bytes += bytes;
    this.#waiting.push({ text, ...of, bytes });
  }

  /** A message was over the rate; the app gets that answer in its turn. */
  refuse(refused: 'tooMany' | 'last'): void {
    this.#waiting.push({
      refused,
      text: undefined,
      atMs: 0,
      turn: 0,
      overtaken: false,
      heeded: false,
      bytes: 0,
    });
  }

  /** The oldest. */
  take(): Waiting | undefined {
    const waiting = this.#waiting.shift();
    if (waiting) this.#bytes -= waiting.bytes;
    return waiting;
  }

  /** How many have been dropped since the last call. */
  takeNotTaken(): number {
    const count = this.#notTaken;
    this.#notTaken = 0;
    return count;
  }

  /** Everything was disarmed: what waits no longer asks for force. */
  overtake(): void {
    for (const waiting of this.#waiting) waiting.overtaken = true;
  }

  clear(): void {
    this.#waiting.length = 0;
    this.#bytes = 0;
  }
}
