import { Hurry } from './hurry.js';

/**
 * Who is served when. Bytes of the gloves and requests over HTTP come between two turns; so whatever apps send, none
 * of these waits for longer than a turn takes:
 *
 *   bytes of an app ──arrived──> look: cut into frames, and looked through for a disarm     at once, then slice by slice
 *                                  │
 *                        what it asks for waits
 *                                  v
 *   after all sockets were read ──> act: checked, done, answered; a hull is built here     for the rest of the turn
 *
 * Nothing is acted on while bytes that have arrived in this turn could still hold a disarm that there is time to see.
 * The app that has had the least of the service's time is next, so that whoever asks little is not kept waiting by
 * those who ask much: an app has a share of each turn, whatever its requests cost.
 */

/** One app, as far as its turn goes. */
export interface TurnTaker {
  /** Looks at a slice of what has come. @returns whether there is more */
  look(): boolean;
  /** Does one thing that was asked. @returns whether there is more */
  act(): boolean;
  /** The turn in which it acted is over. */
  rest(): void;
  /** Time that it has been served, ms: kept here. */
  servedMs: number;
}

/** While connections keep coming. */
const LOOK_IN_HURRY_MS = 0.1;

export interface TurnLimits {
  /** Of each turn, for looking at what came, ms. */
  lookMs: number;
  /** Of each turn, for doing what apps ask, ms. What was begun is ended. */
  actMs: number;
}

export class Turns {
  readonly #looking = new Set<TurnTaker>();
  readonly #acting = new Set<TurnTaker>();
  #next: NodeJS.Immediate | undefined;
  readonly #hurry: Hurry;
  readonly #nowMs: () => number;
  #count = 0;
  #actedMs = Number.NEGATIVE_INFINITY;
  #lookedMs = 0;
  /** Of the taker that was served last, before: who comes anew is not owed the past. */
  #servedMs = 0;

  constructor(
    readonly limits: TurnLimits,
    hurry = new Hurry(),
    nowMs = (): number => performance.now(),
  ) {
    this.#hurry = hurry;
    this.#nowMs = nowMs;
  }

  /** Turns since the start. */
  get count(): number {
    return this.#count;
  }

  /** Bytes of the app have come. */
  arrived(taker: TurnTaker): void {
    if (this.#looking.has(taker)) return;
    let more = true;
    if (this.#lookedMs < this.limits.lookMs) {
      const beganMs = this.#nowMs();
      more = taker.look();
      this.#lookedMs += this.#nowMs() - beganMs;
    }
    if (more) this.#looking.add(taker);
    this.#schedule();
  }

  /** The app has asked for something. */
  asked(taker: TurnTaker): void {
    if (this.#acting.has(taker)) return;
    taker.servedMs = Math.max(taker.servedMs, this.#servedMs);
    this.#acting.add(taker);
    this.#schedule();
  }

  left(taker: TurnTaker): void {
    this.#acting.delete(taker);
  }

  #schedule(): void {
    this.#next ??= setImmediate(this.#turn);
  }

  readonly #turn = (): void => {
    this.#next = undefined;
    this.#count++;
    this.#lookedMs = 0;
    const nowMs = this.#nowMs();
    const putOff = this.#hurry.putsOff(this.#actedMs, nowMs);
    const lookUntilMs = nowMs + (putOff ? LOOK_IN_HURRY_MS : this.limits.lookMs);
    // Who has more to look at goes to the end of the line.
    for (const taker of this.#looking) {
      this.#looking.delete(taker);
      if (taker.look()) this.#looking.add(taker);
      if (this.#nowMs() >= lookUntilMs) break;
    }
    if (!putOff) this.#act();
    if (this.#looking.size > 0 || this.#acting.size > 0) this.#schedule();
  };

  #act(): void {
    const acted = new Set<TurnTaker>();
    let nowMs = this.#nowMs();
    const untilMs = nowMs + this.limits.actMs;
    while (nowMs < untilMs && this.#acting.size > 0) {
      const taker = this.#leastServed();
      this.#servedMs = taker.servedMs;
      if (!taker.act()) this.#acting.delete(taker);
      const beganMs = nowMs;
      nowMs = this.#nowMs();
      taker.servedMs += nowMs - beganMs;
      acted.add(taker);
    }
    this.#actedMs = nowMs;
    for (const taker of acted) taker.rest();
  }

  #leastServed(): TurnTaker {
    let least: TurnTaker | undefined;
    for (const taker of this.#acting) if (!least || taker.servedMs < least.servedMs) least = taker;
    return least!;
  }
}
