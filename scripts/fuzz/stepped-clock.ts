import type { Clock } from '../../src/clock.js';

/** A clock that stands still until it is moved; what falls due on the way runs in order. */
export interface SteppedClock extends Clock {
  advance(us: number): void;
}

export function createSteppedClock(startUs = 1_000_000.125): SteppedClock {
  let nowUs = startUs;
  let timers: { atUs: number; run: () => void }[] = [];
  return {
    nowUs: () => nowUs,
    after(delayMs, run) {
      const timer = { atUs: nowUs + delayMs * 1000, run };
      timers.push(timer);
      return () => {
        timers = timers.filter((other) => other !== timer);
      };
    },
    advance(us) {
      const untilUs = nowUs + us;
      // A process that was stopped runs each timer once when it goes on, however long it was away.
      const due = timers.filter(({ atUs }) => atUs <= untilUs).sort((a, b) => a.atUs - b.atUs);
      timers = timers.filter(({ atUs }) => atUs > untilUs);
      nowUs = untilUs;
      for (const { run } of due) run();
    },
  };
}
