import { expect, it } from 'vitest';
import { createMemoryLink, gestures, silent, simulatedProfile } from '../../scripts/bench/memory-glove.js';
import { createGlove } from '../../src/glove/glove.js';

const RATE_HZ = 500;
const AT_ONCE = 10;

/**
 * A glove whose samples come ten at a time.
 * @param lateUs time since they came when they are looked at
 * @returns of each frame that was told: its time and how many samples before it were not
 */
function told(lateUs: number): { timeUs: number; skipped: number }[] {
  const profile = simulatedProfile();
  let nowUs = 0;
  const link = createMemoryLink();
  const clock = { nowUs: () => nowUs, after: () => () => {} };
  const glove = createGlove({ profile, glove: profile.gloves[0], logger: silent, clock, link });
  const frames: { timeUs: number; skipped: number }[] = [];
  glove.listen({ frame: ({ timeUs, skipped }) => void frames.push({ timeUs, skipped }) });
  glove.start();
  link.live();
  const bytes = gestures(RATE_HZ, 5 * AT_ONCE);
  for (let at = 0; at + AT_ONCE <= 5 * AT_ONCE; at += AT_ONCE) {
    const arrivalUs = (at + AT_ONCE) * (1e6 / RATE_HZ);
    nowUs = arrivalUs + lateUs;
    link.bytes(Buffer.concat(bytes.slice(at, at + AT_ONCE)), arrivalUs);
  }
  return frames;
}

it('in time, every sample is told; behind, only the newest of those that came together', () => {
  const all = told(1000);
  const few = told(50_000);
  expect(all.every(({ skipped }) => skipped === 0)).toBe(true);
  expect(few).toHaveLength(5);
  // What is told is the newest, and with what is counted as skipped nothing is missing.
  let last = -1;
  for (const { timeUs, skipped } of few) {
    last += skipped + 1;
    expect(timeUs).toBe(all[last].timeUs);
  }
  expect(all).toHaveLength(last + 1);
});
