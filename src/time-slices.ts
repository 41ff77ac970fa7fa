import { setImmediate } from 'node:timers/promises';
import type { Steps } from './steps.js';

/** Longest work without a look at what else there is to do, unless one step is longer. */
const TURN_MS = 4;

/** Long work, done so that it keeps neither gloves nor apps waiting. */
export async function betweenOtherWork<Result>(steps: Steps<Result>): Promise<Result> {
  for (;;) {
    await setImmediate();
    const untilMs = performance.now() + TURN_MS;
    do {
      const { done, value } = steps.next();
      if (done) return value;
    } while (performance.now() < untilMs);
  }
}
