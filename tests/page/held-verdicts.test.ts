import { expect, it } from 'vitest';
import { createHeldVerdicts, HELD_MS } from '../../src/page/held-verdicts.js';

const channel = (verdict: string, evidence = '') => ({ role: 'index.curl' as const, verdict, evidence });
/** What is shown of one channel that is judged so at these times, ms. */
function shown(...judged: [atMs: number, verdict: string][]): string[] {
  const hold = createHeldVerdicts();
  return judged.map(([atMs, verdict]) => hold([channel(verdict)], atMs)[0].verdict);
}

it('shows a fault at once, and one that tells more at once', () => {
  expect(shown([0, 'healthy'], [1, 'noisy'], [2, 'railed'], [3, 'intermittent'])).toEqual([
    'healthy',
    'noisy',
    'railed',
    'intermittent',
  ]);
});

it('says one thing of a loose plug that looks like three', () => {
  const kinds = ['intermittent', 'noisy', 'railed', 'healthy'];
  const judged = Array.from({ length: 400 }, (_, n): [number, string] => [n * 250, kinds[n % 4]]);
  expect(new Set(shown(...judged))).toEqual(new Set(['intermittent']));
});

it('is well again, or less bad, once the fault has been gone for long enough', () => {
  const at = [0, HELD_MS - 1, HELD_MS];
  for (const next of ['healthy', 'noisy']) {
    expect(shown([at[0], 'railed'], [at[1], next], [at[2], next])).toEqual(['railed', 'railed', next]);
  }
  // From when it was last seen, not first.
  expect(shown([0, 'railed'], [2000, 'railed'], [4999, 'healthy'], [5000, 'healthy'])).toEqual([
    'railed',
    'railed',
    'railed',
    'healthy',
  ]);
});

it('keeps the words of a fault that comes again, and renews them when they could be read', () => {
  const hold = createHeldVerdicts();
  const words = (atMs: number, evidence: string) => hold([channel('noisy', evidence)], atMs)[0].evidence;
  expect([words(0, 'a'), words(500, 'b'), words(2999, 'c'), words(3000, 'd')]).toEqual(['a', 'a', 'a', 'd']);
});

it('leaves the numbers as they are now', () => {
  const hold = createHeldVerdicts();
  hold([{ ...channel('noisy', 'a'), counts: 1, value: 0.1 }], 0);
  const [now] = hold([{ role: 'index.curl', verdict: 'healthy', counts: 2, value: 0.2 }], 100);
  expect(now).toEqual({ ...channel('noisy', 'a'), counts: 2, value: 0.2, remedy: undefined });
});

it('holds each channel by itself', () => {
  const hold = createHeldVerdicts();
  const two = (first: string, second: string, atMs: number) =>
    hold([channel(first), { ...channel(second), role: 'ring.curl' as const }], atMs).map(
      ({ verdict }) => verdict,
    );
  two('noisy', 'healthy', 0);
  expect(two('healthy', 'dead', 100)).toEqual(['noisy', 'dead']);
});
