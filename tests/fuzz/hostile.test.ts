import { expect, test } from 'vitest';
import { fuzzFiles } from '../../scripts/fuzz/files.js';
import { fuzzProfiles } from '../../scripts/fuzz/profiles.js';
import { fuzzStream } from '../../scripts/fuzz/stream.js';

/* A little of each campaign; more of it, and the time each input takes: npm run fuzz -- stream|files|profiles */

test('hostile messages: answered or closed, never a fault of the service', async () => {
  const { crashes, outcomes } = await fuzzStream(1000, 7);
  expect(crashes).toEqual([]);
  expect(outcomes.answered).toBeGreaterThan(500);
});

test('damaged sessions: read in part or refused', async () => {
  const { crashes, outcomes } = await fuzzFiles(200, 7);
  expect(crashes).toEqual([]);
  expect(Math.min(outcomes.refused, outcomes.part)).toBeGreaterThan(20);
});

test('profiles that are none: refused in a line', () => {
  const { crashes, outcomes } = fuzzProfiles(300, 7);
  expect(crashes).toEqual([]);
  expect(Math.min(outcomes.refused, outcomes.taken)).toBeGreaterThan(20);
});
