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
export interface Lane {
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
  readonly #looking = new Set<Lane>();
  readonly #acting = new Set<Lane>();
  #next: NodeJS.Immediate | undefined;
  readonly #hurry: Hurry;
  #count = 0;
  #actedMs = Number.NEGATIVE_INFINITY;
  #lookedMs = 0;
  /** Of the lane that was served last, before: who comes anew is not owed the past. */
  #servedMs = 0;

  constructor(
    readonly limits: TurnLimits,
    hurry = new Hurry(),
  ) {
    this.#hurry = hurry;
  }

  /** Turns since the start. */
  get count(): number {
    return this.#count;
  }

  /** Bytes of the app have come. */
  arrived(lane: Lane): void {
    if (this.#looking.has(lane)) return;
    let more = true;
    if (this.#lookedMs < this.limits.lookMs) {
      const beganMs = performance.now();
      more = lane.look();
      this.#lookedMs += performance.now() - beganMs;
    }
    if (more) this.#looking.add(lane);
    this.#schedule();
  }

  /** The app has asked for something. */
  asked(lane: Lane): void {
    if (this.#acting.has(lane)) return;
    lane.servedMs = Math.max(lane.servedMs, this.#servedMs);
    this.#acting.add(lane);
    this.#schedule();
  }

  left(lane: Lane): void {
    this.#acting.delete(lane);
  }

  #schedule(): void {
    this.#next ??= setImmediate(this.#turn);
  }

  readonly #turn = (): void => {
    this.#next = undefined;
    this.#count++;
    this.#lookedMs = 0;
    const nowMs = performance.now();
    const putOff = this.#hurry.putsOff(this.#actedMs, nowMs);
    const lookUntilMs = nowMs + (putOff ? LOOK_IN_HURRY_MS : this.limits.lookMs);
    // Who has more to look at goes to the end of the line.
    for (const lane of this.#looking) {
      this.#looking.delete(lane);
      if (lane.look()) this.#looking.add(lane);
      if (performance.now() >= lookUntilMs) break;
    }
    if (!putOff) this.#act();
    if (this.#looking.size > 0 || this.#acting.size > 0) this.#schedule();
  };

  #act(): void {
    const acted = new Set<Lane>();
    let nowMs = performance.now();
    const untilMs = nowMs + this.limits.actMs;
    while (nowMs < untilMs && this.#acting.size > 0) {
      const lane = this.#leastServed();
      this.#servedMs = lane.servedMs;
      if (!lane.act()) this.#acting.delete(lane);
      const beganMs = nowMs;
      nowMs = performance.now();
      lane.servedMs += nowMs - beganMs;
      acted.add(lane);
    }
    this.#actedMs = nowMs;
    for (const lane of acted) lane.rest();
  }

  #leastServed(): Lane {
    let least: Lane | undefined;
    for (const lane of this.#acting) if (!least || lane.servedMs < least.servedMs) least = lane;
    return least!;
  }
}
