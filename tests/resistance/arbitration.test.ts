import { describe, expect, it } from 'vitest';
import { arbitrate, makeAsked } from '../../src/resistance/arbitration.js';
import { RequestStore } from '../../src/resistance/requests.js';
import { all } from './profiles.js';

type Ask = { app: string; stop: number; effort: number; ttlUs?: number };

/** What the index finger gets. */
function winner(asks: Ask[], curl = 0, { allowPull = false, nowUs = 0 } = {}) {
  const store = new RequestStore({ maxApps: 5, maxLayers: 2, maxTtlUs: 1e6 });
  for (const { app, stop, effort, ttlUs = 1000 } of asks) {
    store.set(app, '', all(stop), [0, effort, 0, 0, 0], ttlUs, 0);
  }
  const asked = makeAsked();
  arbitrate(store, all(curl), allowPull, nowUs, asked);
  expect([asked.apps[0], asked.efforts[0]]).toEqual(['', 0]);
  return { app: asked.apps[1], stop: asked.stops[1], effort: asked.efforts[1] };
}

const soft = { app: 'soft', stop: 0.2, effort: 0.1 };
const hard = { app: 'hard', stop: 0.5, effort: 1 };

describe('arbitration', () => {
  it('gives nothing when nothing is asked', () => {
    expect(winner([])).toEqual({ app: '', stop: 1, effort: 0 });
  });

  it('takes the smallest stop while the finger is before it, in any order', () => {
    expect(winner([soft, hard]).app).toBe('soft');
    expect(winner([hard, soft]).app).toBe('soft');
  });

  it('takes the greater effort of equal stops', () => {
    expect(winner([hard, { ...hard, app: 'half', effort: 0.5 }]).app).toBe('hard');
    expect(winner([{ ...hard, app: 'half', effort: 0.5 }, hard]).app).toBe('hard');
  });

  it('does not let a feather behind the finger hide a wall', () => {
    expect(winner([soft, hard], 0.6)).toEqual({ app: 'hard', stop: 0.5, effort: 1 });
    // Where pulling is allowed, the stop behind the finger is a firmer one indeed.
    expect(winner([soft, hard], 0.6, { allowPull: true }).app).toBe('soft');
  });

  it('lets a live request win over an expired one, however firm', () => {
    const late = { nowUs: 2000 };
    expect(winner([soft, { ...hard, ttlUs: 5000 }], 0, late).app).toBe('hard');
    // Alone, the expired one is passed on for the governor to end.
    expect(winner([soft], 0, late).app).toBe('soft');
  });
});
