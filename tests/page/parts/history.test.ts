import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createHistory, type History } from '../../../src/page/parts/history.js';

/** What would be drawn: ages, and counts of the same samples. */
function shown(history: History): [number, number][] {
  history.settle();
  const samples: [number, number][] = [];
  for (let i = history.from; i < history.end; i++) samples.push([history.ages[i], history.counts[i]]);
  return samples;
}

describe('the last seconds of a channel', () => {
  it('is empty before the first sample', () => {
    expect(shown(createHistory(8, 60))).toEqual([]);
  });

  it('is what a list that forgets nothing would show, however the samples come', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 0.01, max: 0.4, noNaN: true }), { maxLength: 120 }), (gaps) => {
        const [seconds, rateHz] = [1, 20];
        const history = createHistory(seconds, rateHz);
        const all: [number, number][] = [];
        let time = 0;
        for (const [i, gap] of gaps.entries()) {
          time += gap;
          history.add(time, i, -i);
          all.push([time, i]);
          const expected = all
            .slice(-seconds * rateHz)
            // And the one before, from which a line comes in.
            .filter((_, n, kept) => n + 1 === kept.length || kept[n + 1][0] > time - seconds)
            .map(([at, counts]) => [at - time, counts]);
          expect(shown(history)).toEqual(expected);
          expect(history.values[history.end - 1]).toBe(-i);
        }
      }),
      { numRuns: 60 },
    );
  });

  it('starts anew when the clock went back: a service that started again, a replay that looped', () => {
    const history = createHistory(8, 60);
    for (let i = 0; i < 30; i++) history.add(100 + i / 60, i, 0);
    history.add(0.5, 77, 0);
    history.add(0.6, 78, 0);
    expect(shown(history).map(([, counts]) => counts)).toEqual([77, 78]);
  });

  it('keeps the least and the most ever seen, also of what has left the strip', () => {
    const history = createHistory(1, 10);
    history.add(0, 4000, 0);
    history.add(0.1, 12, 0);
    for (let i = 1; i < 100; i++) history.add(i, 2000, 0);
    expect([history.lowest, history.highest]).toEqual([12, 4000]);
  });
});
