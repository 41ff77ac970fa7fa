import { EVENT_REASONS, type EventReason } from '../protocol/limits.js';

export { EVENT_REASONS, type EventReason } from '../protocol/limits.js';

/** The whole hand, in place of a finger's index. */
export const WHOLE_HAND = -1;

/**
 * @param finger index into FINGERS or WHOLE_HAND
 * @param asked curl for `rate` and `notBehindFinger`, otherwise effort
 * @param given the same quantity after the limit
 */
export type EventReader = (
  timeUs: number,
  finger: number,
  reason: EventReason,
  asked: number,
  given: number,
) => void;

/** A ring of the newest interventions; older ones are overwritten and counted. Allocates nothing. */
export class EventRing {
  /** Events overwritten before they were read. */
  overwritten = 0;
  /** How often each reason has come since the start, in the order of EVENT_REASONS. */
  readonly totals: Float64Array = new Float64Array(EVENT_REASONS.length);
  private readonly timesUs: Float64Array;
  private readonly fingers: Int8Array;
  private readonly reasons: Uint8Array;
  private readonly asked: Float64Array;
  private readonly given: Float64Array;
  private first = 0;
  private count = 0;
  private pushed = 0;

  constructor(private readonly capacity = 128) {
    this.timesUs = new Float64Array(capacity);
    this.fingers = new Int8Array(capacity);
    this.reasons = new Uint8Array(capacity);
    this.asked = new Float64Array(capacity);
    this.given = new Float64Array(capacity);
  }

  get size(): number {
    return this.count;
  }

  push(timeUs: number, finger: number, reason: EventReason, asked: number, given: number): void {
    if (this.count === this.capacity) {
      this.first = (this.first + 1) % this.capacity;
      this.count--;
      this.overwritten++;
    }
    const at = (this.first + this.count++) % this.capacity;
    this.pushed++;
    this.timesUs[at] = timeUs;
    this.fingers[at] = finger;
    const code = EVENT_REASONS.indexOf(reason);
    this.reasons[at] = code;
    this.totals[code]++;
    this.asked[at] = asked;
    this.given[at] = given;
  }

  /**
   * Hands out the events from number `since` on that are still here, also drained ones, and forgets none.
   * @returns the number of the next event; numbers count from 0
   */
  readSince(since: number, read: EventReader): number {
    // An event stays at its number modulo the capacity until it is overwritten.
    for (let n = Math.max(since, this.pushed - this.capacity); n < this.pushed; n++) {
      const at = n % this.capacity;
      read(
        this.timesUs[at],
        this.fingers[at],
        EVENT_REASONS[this.reasons[at]],
        this.asked[at],
        this.given[at],
      );
    }
    return this.pushed;
  }

  /** Hands out every event, oldest first, and forgets them. */
  drain(read: EventReader): void {
    while (this.count > 0) {
      const at = this.first;
      this.first = (at + 1) % this.capacity;
      this.count--;
      read(
        this.timesUs[at],
        this.fingers[at],
        EVENT_REASONS[this.reasons[at]],
        this.asked[at],
        this.given[at],
      );
    }
  }
}
