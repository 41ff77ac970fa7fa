import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

let glove: FakeGlove;
let stream: Stream;
beforeEach(async () => {
  glove = new FakeGlove();
  stream = await serve([glove]);
});
afterEach(() => stream.close());

describe('a session', () => {
  test('is welcomed, subscribes and gets poses in both encodings with the same numbers', async () => {
    const json = await App.connect(stream.port);
    const binary = await App.binary(stream.port);
    const welcome = await json.until((m) => m.type === 'welcome');
    expect(welcome).toMatchObject({ hands: [{ hand: 'right', sampleRateHz: 500 }] });
    const subscribe = { type: 'subscribe', velocities: true };
    expect(await json.ask(subscribe)).toMatchObject({ type: 'ack', for: 'subscribe', rateHz: 500 });
    await binary.ask(subscribe);
    for (let i = 1; i <= 100; i++) glove.sample(i * 2000);
    await json.reached(() => json.of('joints').length === 100);
    await binary.reached(() => binary.records.length === 100);
    const poses = json.of('joints');
    for (const [i, pose] of poses.entries()) {
      const record = binary.records[i];
      expect(pose).toMatchObject({
        hand: record.hand,
        timeUs: record.timeUs,
        space: record.space,
        valid: record.valid,
        fingers: record.fingers,
      });
      expect(pose.seq - poses[0].seq).toBe(i);
      expect(record.seq - binary.records[0].seq).toBe(i);
      pose.poses.flat().forEach((value, k) => {
        expect(Math.abs(value - record.poses[k])).toBeLessThan(2e-7);
      });
      pose.velocities!.flat().forEach((value, k) => {
        expect(Math.abs(value - record.velocities![k])).toBeLessThan(1e-5);
      });
    }
    expect(json.schemaErrors).toEqual([]);
  });
});
