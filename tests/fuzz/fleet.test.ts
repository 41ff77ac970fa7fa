import { expect, test } from 'vitest';
import { fuzzFleet } from '../../scripts/fuzz/fleet.js';

/* A little of the campaign; more of it: npm run fuzz -- fleet --count 1000000 */

test('any topic and any payload: no fault, nothing on the disk but what is sound, and the station comes back', async () => {
  const { crashes, outcomes, strangers, diskMb, takenMb, files, connections } = await fuzzFleet(20_000, 5);
  expect(crashes).toEqual([]);
  expect(strangers).toEqual([]);
  expect(files).toBeLessThanOrEqual(2);
  // The container's own, and the profile at the start of each file.
  expect(diskMb).toBeLessThan(3 * takenMb + 0.5);
  // It met what it is for.
  for (const met of [
    'raw',
    'session',
    'status',
    'notSound',
    'segments',
    'statuses refused',
    'no topic of ours',
  ]) {
    expect([met, outcomes[met] > 20]).toEqual([met, true]);
  }
  expect(outcomes['connections closed']).toBeGreaterThanOrEqual(connections - 1);
});
