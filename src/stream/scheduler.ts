import { ConnectionBurst } from './connection-burst.js';

/**
 * Which app is served when. Bytes from gloves and requests over HTTP are handled between two turns, so whatever apps
 * send, neither waits for longer than one turn:
 *
 *   bytes of an app ──arrived──> look: cut into frames, and searched for a disarm           at once, then slice by slice
 *                                  │
 *                        what it asks for waits
 *                                  v
 *   after all sockets were read ──> act: checked, done, answered; a hull is built here     for the rest of the turn
 *
 * Nothing is acted on while bytes that arrived in this turn may still hold a disarm that there is time to find. The app
 * that has had the least of the service's time comes next, so that an app that asks for little does not wait for those
 * that ask for much.
 */

/** One app, as the scheduler sees it. */
export interface ScheduledApp {
  /** Looks at a slice of what has arrived. @returns whether there is more */
  look(): boolean;
  /** Does one thing that was asked. @returns whether there is more */
  act(): boolean;
  /** The turn in which it acted is over. */
  rest(): void;
  /** How long it has been served, ms. The scheduler keeps this up to date. */
  servedMs: number;
}

/** Of a turn in which connections keep coming, for looking at what has arrived. */
const LOOK_IN_BURST_MS = 0.1;

export interface SchedulerLimits {
  /** Of each turn, for looking at what has arrived, ms. */
  lookMs: number;
  /** Of each turn, for doing what apps ask, ms. What has begun is finished. */
  actMs: number;
}

export class Scheduler {
  readonly #looking = new Set<ScheduledApp>();
  readonly #acting = new Set<ScheduledApp>();
  #next: NodeJS.Immediate | undefined;
  readonly #burst: ConnectionBurst;
  readonly #nowMs: () => number;
  #count = 0;
  #actedMs = Number.NEGATIVE_INFINITY;
  #lookedMs = 0;
  /** Of the app that was served last, before it was: a newcomer has no claim to the time before it came. */
  #servedMs = 0;

  constructor(
    readonly limits: SchedulerLimits,
    burst = new ConnectionBurst(),
    nowMs = (): number => performance.now(),
  ) {
    this.#burst = burst;
    this.#nowMs = nowMs;
  }

  /** Turns since the start. */
  get count(): number {
    return this.#count;
  }

  /** Bytes of the app have arrived. */
  arrived(app: ScheduledApp): void {
    if (this.#looking.has(app)) return;
    let more = true;
    if (this.#lookedMs < this.limits.lookMs) {
      const beganMs = this.#nowMs();
      more = app.look();
      this.#lookedMs += this.#nowMs() - beganMs;
    }
    if (more) this.#looking.add(app);
    this.#schedule();
  }

  /** The app has asked for something. */
  asked(app: ScheduledApp): void {
    if (this.#acting.has(app)) return;
    app.servedMs = Math.max(app.servedMs, this.#servedMs);
    this.#acting.add(app);
    this.#schedule();
  }

  left(app: ScheduledApp): void {
    this.#acting.delete(app);
  }

  #schedule(): void {
    this.#next ??= setImmediate(this.#turn);
  }

  readonly #turn = (): void => {
    this.#next = undefined;
    this.#count++;
    this.#lookedMs = 0;
    const nowMs = this.#nowMs();
    const putOff = this.#burst.defers(this.#actedMs, nowMs);
    const lookUntilMs = nowMs + (putOff ? LOOK_IN_BURST_MS : this.limits.lookMs);
    // Who has more to look at goes to the end of the line.
    for (const app of this.#looking) {
      this.#looking.delete(app);
      if (app.look()) this.#looking.add(app);
      if (this.#nowMs() >= lookUntilMs) break;
    }
    if (!putOff) this.#act();
    if (this.#looking.size > 0 || this.#acting.size > 0) this.#schedule();
  };

  #act(): void {
    const acted = new Set<ScheduledApp>();
    let nowMs = this.#nowMs();
    const untilMs = nowMs + this.limits.actMs;
    while (nowMs < untilMs && this.#acting.size > 0) {
      const app = this.#leastServed();
      this.#servedMs = app.servedMs;
      if (!app.act()) this.#acting.delete(app);
      const beganMs = nowMs;
      nowMs = this.#nowMs();
      app.servedMs += nowMs - beganMs;
      acted.add(app);
    }
    this.#actedMs = nowMs;
    for (const app of acted) app.rest();
  }

  #leastServed(): ScheduledApp {
    let least: ScheduledApp | undefined;
    for (const app of this.#acting) if (!least || app.servedMs < least.servedMs) least = app;
    return least!;
  }
}
