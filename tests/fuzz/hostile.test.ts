import { expect, test } from 'vitest';
import { fuzzStream } from '../../scripts/fuzz/stream.js';

test('hostile messages: answered or closed, never a fault of the service', async () => {
  const { crashes, outcomes } = await fuzzStream(1000, 7);
  expect(crashes).toEqual([]);
  expect(outcomes.answered).toBeGreaterThan(500);
});
