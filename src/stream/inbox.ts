import type { Incoming } from './frame-reader.js';

/** What an app has sent and has not been answered yet, bounded in bytes. */
export interface Waiting {
  /** It is to be refused for being one too many; `last`: and the connection to be closed. */
  readonly refused?: 'tooMany' | 'last';
  /** Undefined: it was binary. */
  readonly text: string | undefined;
  /** When it came, ms, and in which turn. */
  readonly atMs: number;
  readonly turn: number;
  /** It came before the app could know of a disarm: it asks for no force any more. */
  overtaken: boolean;
  /** It may have been meant as a disarm, and was taken as one. */
  readonly heeded: boolean;
}

export interface InboxLimits {
  /** Most messages that wait. */
  messagesPerS: number;
  /** Most bytes that wait. */
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

  /** A message is there; when too many wait already it is counted and thrown away. */
  put({ text, bytes }: Incoming, of: Pick<Waiting, 'atMs' | 'turn' | 'overtaken' | 'heeded'>): void {
    const { messagesPerS, maxWaitingBytes } = this.limits;
    if (this.#waiting.length >= messagesPerS || this.#bytes + bytes > maxWaitingBytes) {
      this.#notTaken++;
      return;
    }
    this.#bytes += bytes;
    this.#waiting.push({ text, ...of, bytes });
  }

  /** A message was over the rate: that is said when it is its turn. */
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

  /** How many were thrown away since it was last asked. */
  takeNotTaken(): number {
    const count = this.#notTaken;
    this.#notTaken = 0;
    return count;
  }

  /** Everybody was disarmed: what waits asks for no force any more. */
  overtake(): void {
    for (const waiting of this.#waiting) waiting.overtaken = true;
  }

  clear(): void {
    this.#waiting.length = 0;
    this.#bytes = 0;
  }
}
