import { setImmediate as nextTurn } from 'node:timers/promises';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

/** An app that asks for less of a hand that rests, beside one that does not. */

const SAMPLE_US = 2000;
let glove: FakeGlove;
let stream: Stream;
let timeUs: number;
let app: App;
let other: App;

beforeEach(async () => {
  glove = new FakeGlove();
  glove.counts = 2000;
  timeUs = 0;
  stream = await serve([glove]);
  app = await App.connect(stream.port);
  other = await App.connect(stream.port);
  const streams = ['joints', 'signals', 'inputs'];
  await app.ask({ type: 'subscribe', streams, rateHz: 125, restHz: 4 });
  await other.ask({ type: 'subscribe', streams, rateHz: 125 });
});
afterEach(() => stream.close());

/** So many seconds of samples, each changed by the test beforehand; waits until they have come. */
async function pass(
  seconds: number,
  change?: (n: number) => void,
): Promise<{ poses: number; signals: number }> {
  const before = { poses: app.of('joints').length, signals: app.of('signals').length };
  for (let n = 0; n < seconds * 500; n++) {
    change?.(n);
    timeUs += SAMPLE_US;
    glove.still(timeUs);
    if (n % 5 === 0) await nextTurn();
  }
  await app.ask({ type: 'ping' });
  await other.ask({ type: 'ping' });
  return {
    poses: app.of('joints').length - before.poses,
    signals: app.of('signals').length - before.signals,
  };
}
/** Less than is seen. */
const noise = (n: number) => {
  glove.frame.poses[0] += n % 2 === 0 ? 2e-4 : -2e-4;
};
const near = (count: number, of: number): void => expect(Math.abs(count - of)).toBeLessThanOrEqual(2);

it('gets so many poses and signals a second of a hand that rests, and the other app all of them', async () => {
  near((await pass(2, noise)).poses, 250);
  const rested = await pass(5, noise);
  near(rested.poses, 20);
  near(rested.signals, 20);
  near(other.of('joints').length, 875);
  // What was held back was not meant for this app: its count has no gap.
  const poses = app.of('joints');
  expect(poses.every(({ seq }, i) => i === 0 || seq === poses[i - 1].seq + 1)).toBe(true);
});

it('has a move within one pose of its sample, and all that follow', async () => {
  await pass(4, noise);
  const count = app.of('joints').length;
  const fromUs = timeUs;
  const moved = await pass(1, () => {
    glove.frame.poses[0] += 3e-4;
  });
  near(moved.poses, 125);
  // The second sample has moved by more than the noise; a pose is due every 8 ms.
  expect(app.of('joints')[count].timeUs - fromUs).toBeLessThanOrEqual(2 * SAMPLE_US + 8000);
  expect(moved.signals).toBeGreaterThan(0);
});

it('has all of them again when a channel jumps, although the hand stays where it is', async () => {
  await pass(4, noise);
  near((await pass(1, noise)).poses, 4);
  glove.counts = 100;
  // The channels are looked at sixty times a second, by the clock.
  const count = app.of('signals').length;
  while (app.of('signals').every(({ counts }) => counts[0] !== 100)) await pass(0.002, noise);
  expect(app.of('signals').length - count).toBeLessThanOrEqual(2);
  expect((await pass(1, noise)).poses).toBeGreaterThan(100);
});

it('says at once that there is no hand any more, and that there is one again', async () => {
  await pass(4, noise);
  timeUs += SAMPLE_US;
  glove.silence(timeUs, 'gone');
  await app.reached(() => app.of('joints').at(-1)?.valid === false);
  glove.frame.valid = true;
  near((await pass(1, noise)).poses, 125);
});

it('is given all of them for a while when it subscribes again', async () => {
  await pass(4, noise);
  await app.ask({ type: 'subscribe', streams: ['joints', 'signals'], rateHz: 125, restHz: 2 });
  near((await pass(1, noise)).poses, 125);
  await pass(2, noise);
  near((await pass(3, noise)).poses, 6);
});

it('gets inputs as they change, whether the hand rests or not', async () => {
  await pass(4, noise);
  const path = glove.description.inputPaths[0];
  glove.values[path] = 1;
  glove.tell('inputs');
  await app.reached(() => app.of('inputs').some(({ values }) => values[path] === 1));
});
