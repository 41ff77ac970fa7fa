import { expect, it } from 'vitest';
import { createButtonWatch } from '../../src/guide/button-watch.js';

const NAMED = { a: 0, disarm: 3 };

/** @param bitsAt of a sample, by the time in ms */
function watched(bitsAt: (ms: number) => number, seconds = 10) {
  const watch = createButtonWatch(NAMED, 8);
  for (let ms = 0; ms < 1000 * seconds; ms += 2) watch.sample(bitsAt(ms), ms / 1000);
  return watch.findings();
}

/** Pressed twice for 0.2 s. */
const twice = (ms: number) => (ms % 4000 >= 1000 && ms % 4000 < 1200 ? 1 : 0);

it('counts presses, and says which button was not pressed', () => {
  expect(watched((ms) => twice(ms), 8)).toMatchObject(
    [
      { name: 'a', verdict: 'healthy', evidence: 'pressed 2 times', remedy: '' },
      {
        name: 'disarm',
        verdict: 'notPressed',
        evidence: 'was not seen pressed',
        remedy: /wires and its bit/,
      },
    ].map(({ remedy, ...rest }) => ({
      ...rest,
      remedy: remedy instanceof RegExp ? expect.stringMatching(remedy) : remedy,
    })),
  );
});

it('names a button that is stuck, also when it lets go for a moment', () => {
  const [, disarm] = watched((ms) => (ms > 3000 && ms < 3100 ? 0 : 8));
  expect(disarm).toMatchObject({ verdict: 'stuck', evidence: 'pressed for 99 % of the time' });
  expect(disarm.remedy).toMatch(/touches ground/);
});

it('names contacts that bounce longer than the profile passes over, and what to set', () => {
  const bouncy = (longMs: number) => (ms: number) => {
    const since = ms % 4000;
    if (since < longMs) return Math.floor(since / 2) % 2 === 0 ? 1 : 0;
    return since < 300 ? 1 : 0;
  };
  expect(watched(bouncy(6), 12)[0]).toMatchObject({ verdict: 'healthy', evidence: 'pressed 3 times' });
  const [bad] = watched(bouncy(20), 12);
  expect(bad).toMatchObject({
    verdict: 'bouncing',
    evidence: /^pressed 3 times, its contacts bounce for (18|20) ms$/.exec(bad.evidence)?.[0],
  });
  expect(bad.remedy).toMatch(/debounceMs` to (27|30) or more \(it is 8\)/);
});
