import { expect, it } from 'vitest';
import { gridOf, LINKS, type LinkName, promised, promisedOfServo, runBehindCase } from './behind-cases.js';

/*
 * A finger that no drive can hold, at every speed a hand has: how far behind it its stop comes to be, before the glove
 * has been told better. Many more runs, and a table: scripts/behind.ts.
 */

const STOPS = [0, 0.3, 0.6, 0.8];
const MOMENTS = [-1, 0.06, 0.2, 0.45, 0.7];

it.each(Object.keys(LINKS) as LinkName[])(
  '%s: no further than is promised',
  (link) => {
    let runs = 0;
    let pressed = 0;
    for (const fastest of [1, 4, 7.5]) {
      for (const one of gridOf(link, fastest, STOPS, MOMENTS)) {
        const behind = runBehindCase(one);
        expect(behind.any, JSON.stringify(one)).toBeLessThan(promised(one));
        expect(behind.servo, JSON.stringify(one)).toBeLessThan(promisedOfServo(one));
        runs++;
        if (behind.held > 0.2 && behind.any > 0.03) pressed++;
      }
    }
    expect(runs).toBe(60);
    // Held, and pressed past its stop: a governor that gives nothing would keep any promise.
    expect(pressed).toBeGreaterThan(40);
  },
  60_000,
);
