import type { Clock } from '../../src/clock.js';

/** A clock that a test turns by hand: timers run in order, each at its own time. */
export class FakeClock implements Clock {
  private timeUs = 1_000_000;
  private timers: { atUs: number; run: () => void }[] = [];

  nowUs(): number {
    return this.timeUs;
  }

  after(delayMs: number, run: () => void): () => void {
    const timer = { atUs: this.timeUs + delayMs * 1000, run };
    this.timers.push(timer);
    return () => {
      this.timers = this.timers.filter((other) => other !== timer);
    };
  }

  get pending(): number {
    return this.timers.length;
  }

  /** Lets `ms` pass; promises settle after each timer. */
  async advance(ms: number): Promise<void> {
    const endUs = this.timeUs + ms * 1000;
    for (;;) {
      await new Promise(setImmediate);
      const next = this.timers.reduce<{ atUs: number; run: () => void } | undefined>(
        (first, timer) => (first && first.atUs <= timer.atUs ? first : timer),
        undefined,
      );
      if (!next || next.atUs > endUs) break;
      this.timers = this.timers.filter((other) => other !== next);
      this.timeUs = Math.max(this.timeUs, next.atUs);
      next.run();
    }
    this.timeUs = endUs;
  }
}
