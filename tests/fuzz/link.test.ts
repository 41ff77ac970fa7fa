import { expect, test } from 'vitest';
import { fuzzLink } from '../../scripts/fuzz/link.js';
import { simulatedProfile } from '../../scripts/simulated-session.js';
import { createSensing } from '../../src/sensing/sensing.js';

test('hostile bytes: both decoders and a whole glove at work, with no throw and no number that is none', () => {
  const { crashes, outcomes, count } = fuzzLink(150_000, 5);
  expect(crashes).toEqual([]);
  expect(count).toBeGreaterThanOrEqual(150_000);
  // It met what it is for.
  for (const met of [
    'frames',
    'badCrc',
    'malformed',
    'oversize',
    'valid pose',
    'resist sent',
    'release sent',
  ]) {
    expect([met, outcomes[met] > 0]).toEqual([met, true]);
  }
});

test('a glove that names no rate and repeats its first time gives numbers all the same (found by seed 5)', () => {
  const [glove] = simulatedProfile(['right']).gloves;
  const sensing = createSensing({ glove, sampleRateHz: 0 });
  const channels = new Uint16Array(32).fill(2000);
  for (const deviceTimeUs of [1000, 1000, 1000, 5000]) {
    sensing.update({ seq: 0, deviceTimeUs, buttons: 0, channelCount: 12, channels }, deviceTimeUs);
    channels.fill(2100);
  }
  expect(Array.from(sensing.curl).every(Number.isFinite)).toBe(true);
  expect(Array.from(sensing.dofRates).every(Number.isFinite)).toBe(true);
});
