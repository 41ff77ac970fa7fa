import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Service, startService } from '../../src/service.js';
import { trackedHand } from '../hand/tracked-hand.js';
import { silent, simulatedProfile } from '../recording/live-glove.js';

let service: Service;
let base: string;
beforeAll(async () => {
  const profile = simulatedProfile(['right'], 100);
  profile.stream.port = 0;
  service = await startService({ profile, logger: silent });
  base = `http://${new URL(service.address).host}`;
});
afterAll(() => service.close());

/** What a hand tracker sees of a hand that closes. */
const recording = (frames: number): string =>
  JSON.stringify(
    Array.from({ length: frames }, (_, frame) => trackedHand(0.2, 0.1 + (0.3 * frame) / frames)),
  );

test('bones are fitted between other work, one hand at a time', async () => {
  const post = (frames: number) =>
    fetch(`${base}/fits/hand?person=Kim`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: recording(frames),
    });
  const done: string[] = [];
  const long = post(60).then(async (answer) => {
    done.push('fit');
    return (await answer.json()) as { rmsMm: number };
  });
  while (!done.includes('refused') && !done.includes('fit')) {
    const { code } = (await (await post(0)).json()) as { code: string };
    if (code === 'badMessage') continue;
    expect(code).toBe('tooMany');
    done.push('refused');
    expect((await fetch(`${base}/health`)).ok).toBe(true);
    done.push('health');
  }
  expect((await long).rmsMm).toBeLessThan(1);
  // Both were answered while it went on.
  expect(done).toEqual(['refused', 'health', 'fit']);
  expect((await post(1)).ok).toBe(true);
});
