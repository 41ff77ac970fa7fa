import { describe, expect, it } from 'vitest';
import { RequestStore } from '../../src/resistance/requests.js';
import { all } from './profiles.js';

const make = (maxApps = 3, maxLayers = 2) => new RequestStore({ maxApps, maxLayers, maxTtlUs: 1_000_000 });
const held = (store: RequestStore) =>
  Array.from({ length: store.count }, (_, slot) => `${store.apps[slot]}/${store.layers[slot]}`).sort();

describe('requests', () => {
  it('replaces what the same app asked for on the same layer', () => {
    const store = make();
    store.set('a', '', all(0.5), all(1), 1000, 0);
    store.set('a', '', all(0.2), all(0.4), 1000, 0);
    expect(store.count).toBe(1);
    expect(store.stops[0]).toBe(0.2);
    expect(store.efforts[4]).toBe(0.4);
  });

  it('keeps layers apart and drops one or all of an app', () => {
    const store = make();
    for (const layer of ['x', 'y']) store.set('a', layer, all(0.5), all(1), 1000, 0);
    store.set('b', 'x', all(0.3), all(0.7), 2000, 0);
    store.dropLayer('a', 'x');
    expect(held(store)).toEqual(['a/y', 'b/x']);
    store.drop('a');
    expect(held(store)).toEqual(['b/x']);
    // The slot that moved took its numbers along.
    expect([store.stops[0], store.efforts[0], store.expiresUs[0]]).toEqual([0.3, 0.7, 2000]);
    store.dropAll();
    expect(held(store)).toEqual([]);
  });

  it('drops a layer that asks for nothing any more', () => {
    const store = make();
    store.set('a', '', all(0.5), all(1), 1000, 0);
    expect(store.set('a', '', all(0.5), all(0), 1000, 0)).toBe('nothingAsked');
    expect(store.count).toBe(0);
  });

  it('cuts the life to the longest permitted', () => {
    const store = make();
    store.set('a', '', all(0.5), all(1), 9e9, 500);
    expect(store.expiresUs[0]).toBe(1_000_500);
  });

  it.each([0, -1, Number.NaN, Number.NEGATIVE_INFINITY])('takes a life of %s as over', (ttlUs) => {
    const store = make();
    store.set('a', '', all(0.5), all(1), ttlUs, 500);
    store.sweep(500);
    expect(store.count).toBe(0);
  });

  it('is bounded in apps and layers, and makes room of what has expired', () => {
    const store = make();
    expect(store.set('a', '1', all(0.5), all(1), 1000, 0)).toBe('held');
    expect(store.set('a', '2', all(0.5), all(1), 1000, 0)).toBe('held');
    expect(store.set('a', '3', all(0.5), all(1), 1000, 0)).toBe('tooManyLayers');
    expect(store.set('b', '', all(0.5), all(1), 5000, 0)).toBe('held');
    expect(store.set('c', '', all(0.5), all(1), 5000, 0)).toBe('held');
    expect(store.set('d', '', all(0.5), all(1), 5000, 0)).toBe('tooManyApps');
    expect(store.set('d', '', all(0.5), all(1), 5000, 1000)).toBe('held');
  });

  it('sweeps at the end of the life, not before', () => {
    const store = make();
    store.set('a', '', all(0.5), all(1), 1000, 0);
    store.sweep(999);
    expect(store.count).toBe(1);
    store.sweep(1000);
    expect(store.count).toBe(0);
  });
});
