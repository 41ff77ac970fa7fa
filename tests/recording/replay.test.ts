import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import type { HandFrame } from '../../src/glove-view.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { startRecorder } from '../../src/recording/recorder.js';
import { openSession } from '../../src/recording/session.js';
import { createHandClock, silent, simulatedGloves, simulatedProfile } from './live-glove.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-session-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Every bit of what apps would see. */
function keep(into: string[], hand: string, frame: HandFrame): void {
  const { timeUs, valid, reason, fingerStates, poses, velocities } = frame;
  const bits = Buffer.concat([Buffer.from(poses.buffer), Buffer.from(velocities.buffer)]).toString('base64');
  into.push(`${hand} ${timeUs} ${valid} ${reason} ${fingerStates} ${bits}`);
}

test('what is recorded from the simulated glove gives the same joints, to the last bit', async () => {
  const clock = createHandClock();
  const profile = simulatedProfile(['left', 'right']);
  const gloves = simulatedGloves(profile, clock);
  const file = join(folder, 'first.mcap');
  const recorder = await startRecorder({ file, gloves, profile, logger: silent, version: '0', clock });
  const live: string[] = [];
  for (const glove of gloves) {
    glove.listen({ frame: (frame) => keep(live, glove.description.hand, frame) });
    glove.start();
  }
  await clock.runTo(clock.nowUs() + 12e6);
  recorder.mark('here');
  await recorder.stop();
  for (const glove of gloves) await glove.close();

  const session = openSession(file);
  const again: string[] = [];
  const hands = createOfflineHands(session, (hand, frame) => keep(again, hand, frame));
  session.visit(hands.visitor);
  expect(session.hands).toEqual(['left', 'right']);
  expect(live.length).toBeGreaterThan(5900);
  expect(again.length).toBe(live.length);
  expect(again.findIndex((line, i) => line !== live[i])).toBe(-1);
  expect(session.damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
  session.close();
});
