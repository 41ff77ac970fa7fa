import { setImmediate as nextTurn } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { StreamLimits } from '../../src/stream/limits.js';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';
import { RawApp } from './raw-app.js';

interface AppStatus {
  app: string;
  dropped: number;
  behind: boolean;
}

let glove: FakeGlove;
let stream: Stream | undefined;
let timeUs: number;
beforeEach(() => {
  glove = new FakeGlove();
  timeUs = 0;
});
afterEach(() => stream?.close());

const start = async (limits: Partial<StreamLimits> = {}): Promise<Stream> => {
  stream = await serve([glove], {}, { limits });
  return stream;
};
const sample = () => {
  timeUs += 2000;
  glove.sample(timeUs);
};
const statusOf = async (port: number, app: string): Promise<AppStatus> => {
  const response = await fetch(`http://127.0.0.1:${port}/health`);
  const { apps } = (await response.json()) as { apps: AppStatus[] };
  return apps.find((status) => status.app === app)!;
};
/** Sequence numbers with the count of those missing before each. */
const gaps = (poses: readonly { seq: number }[]) =>
  poses.map(({ seq }, i) => (i === 0 ? 0 : seq - poses[i - 1].seq - 1)).filter((missing) => missing !== 0);

test('poses that the service has no time for are missing in the count of those who take every sample', async () => {
  const { port } = await start();
  const every = await App.connect(port);
  const some = await App.connect(port);
  await every.ask({ type: 'subscribe' });
  await some.ask({ type: 'subscribe', rateHz: 250 });
  sample();
  glove.frame.skipped = 3;
  timeUs += 6000;
  sample();
  await every.reached(() => every.of('joints').length === 2);
  await some.reached(() => some.of('joints').length === 2);
  expect(gaps(every.of('joints'))).toEqual([3]);
  expect(gaps(some.of('joints'))).toEqual([]);
});

describe('a reader that does not read', () => {
  test('has one pose waiting at most, gets the newest when it reads again, and harms nobody', async () => {
    const { port } = await start({ behindAfterMs: Infinity });
    const good = await App.connect(port);
    await good.ask({ type: 'subscribe' });
    const stalled = await RawApp.connect(port);
    stalled.sendText({ type: 'subscribe', velocities: true });
    await stalled.reached(() => stalled.of('ack').length === 1);
    const [{ app }] = stalled.of('welcome');
    stalled.socket.pause();

    let status = await statusOf(port, String(app));
    let sent = 0;
    while (!(status.behind && status.dropped > 500)) {
      for (let i = 0; i < 250; i++) {
        sample();
        sent++;
        if (sent % 10 === 0) await nextTurn();
      }
      await good.reached(() => good.of('joints').length === sent);
      status = await statusOf(port, String(app));
      expect(sent).toBeLessThan(20_000);
    }
    expect(gaps(good.of('joints'))).toEqual([]);

    stalled.socket.resume();
    await stalled.reached(() => stalled.texts.at(-1)!.includes(`"timeUs":${timeUs},`));
    const poses = stalled.of('joints');
    // What the kernel had taken, without a gap; then one gap; then the newest pose, and no other.
    expect(gaps(poses)).toEqual([status.dropped]);
    expect(poses.at(-1)!.seq - poses.at(-2)!.seq - 1).toBe(status.dropped);

    sample();
    await stalled.reached(() => stalled.texts.at(-1)!.includes(`"timeUs":${timeUs},`));
    expect(stalled.of('joints').at(-1)!.seq).toBe(poses.at(-1)!.seq + 1);
  });

  test('gets no more poses while the pong to a ping among them is overdue', async () => {
    const { port } = await start({ probeEveryMs: 5, behindAfterMs: 20 });
    const lazy = await RawApp.connect(port, false);
    lazy.sendText({ type: 'subscribe' });
    await lazy.reached(() => lazy.of('ack').length === 1);
    const [{ app }] = lazy.of('welcome');
    sample();
    await lazy.reached(() => lazy.pings === 1);
    while (!(await statusOf(port, String(app))).behind) sample();
    const before = lazy.of('joints').length;
    for (let i = 0; i < 50; i++) sample();
    const { dropped } = await statusOf(port, String(app));
    expect(dropped).toBeGreaterThanOrEqual(49);
    lazy.pong();
    await lazy.reached(() => lazy.texts.at(-1)!.includes(`"timeUs":${timeUs},`));
    expect(lazy.of('joints').length - before).toBeLessThanOrEqual(2);
    expect(gaps(lazy.of('joints'))).toEqual([dropped]);
  });

  test('still gets answers, up to a bound; then it is closed', async () => {
    const { port } = await start({ messagesPerS: 1e6, maxUnreadBytes: 20_000 });
    const deaf = await RawApp.connect(port);
    deaf.socket.pause();
    const text = { type: 'ping', id: 'x'.repeat(64) };
    const dropped = glove.called('drop');
    let ended = false;
    void dropped.then(() => {
      ended = true;
    });
    while (!ended && !deaf.closed) {
      for (let i = 0; i < 200; i++) deaf.sendText(text);
      await nextTurn();
    }
    expect(await dropped).toEqual(['drop', 'app1']);
    deaf.socket.resume();
    await deaf.end();
  });
});

describe('bounds', () => {
  test('too many messages are answered by errors, then the connection is closed', async () => {
    const { port } = await start({ messagesPerS: 50, excessMessages: 10 });
    const app = await App.connect(port);
    for (let i = 0; i < 200; i++) app.send({ type: 'ping' });
    expect(await app.end()).toEqual({ code: 1008, reason: 'too many messages' });
    expect(app.of('ack').length).toBeGreaterThanOrEqual(50);
    expect(app.of('error').length).toBe(11);
    expect(app.of('error')[0]).toMatchObject({ code: 'tooMany' });
    expect(app.schemaErrors).toEqual([]);
  });

  test('two thousand messages at once are taken', async () => {
    const { port } = await start();
    const app = await App.connect(port);
    for (let i = 0; i < 2000; i++) app.send({ type: 'ping', id: i });
    await app.reached(() => app.of('ack').length === 2000);
    expect(app.of('error')).toEqual([]);
  });

  test('a message over 64 kB is named, then the connection is closed with 1009', async () => {
    const { port } = await start();
    const app = await App.connect(port);
    app.send(`${' '.repeat(65_536 - 15)}{"type":"ping"}`);
    await app.until((m) => m.type === 'ack');
    app.send(`${' '.repeat(65_536 - 14)}{"type":"ping"}`);
    expect(await app.end()).toMatchObject({ code: 1009 });
    expect(app.of('error')).toMatchObject([
      { code: 'tooLarge', message: expect.stringContaining('65537 bytes; 65536') },
    ]);
  });

  test('a message of megabytes ends with the reason, too, while the app still sends it', async () => {
    const { port } = await start();
    for (const bytes of [70_000, 3_000_000, 40_000_000]) {
      const app = await App.connect(port);
      app.send(' '.repeat(bytes));
      expect(await app.end()).toEqual({ code: 1009, reason: expect.stringContaining('65536') });
      expect(app.of('error')).toMatchObject([{ code: 'tooLarge' }]);
    }
  });

  test('one app too many is told so and closed; a place that becomes free is given again', async () => {
    stream = await serve([glove], { maxClients: 2 });
    const { port } = stream;
    const [first, second] = [await App.connect(port), await App.connect(port)];
    await second.until((m) => m.type === 'welcome');
    const third = await App.connect(port);
    expect(await third.end()).toMatchObject({ code: 1013 });
    expect(third.of('error')).toMatchObject([
      { code: 'tooMany', message: expect.stringContaining('2 apps') },
    ]);
    expect(third.of('welcome')).toEqual([]);
    first.ws.close();
    await first.end();
    const fourth = await App.connect(port);
    await fourth.until((m) => m.type === 'welcome');
  });
});

describe('an app that is gone', () => {
  test('loses its requests at once: goodbye, cut connection, or half-closed socket', async () => {
    const { port } = await start();
    const ways: ((app: RawApp) => void)[] = [
      (app) => app.send(8, Buffer.from([0x03, 0xe8])),
      (app) => app.socket.destroy(),
      (app) => app.socket.end(),
    ];
    for (const [i, leave] of ways.entries()) {
      const app = await RawApp.connect(port);
      app.sendText({ type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.4, effort: 1 } } });
      await app.reached(() => app.of('ack').length === 1);
      glove.calls.length = 0;
      leave(app);
      expect(await glove.called('drop')).toEqual(['drop', `app${i + 1}`]);
      app.socket.destroy();
    }
  });

  test('is noticed although its socket stays open: no pong', async () => {
    const { port } = await start({ probeEveryMs: 5, pingEveryMs: 10, pongWithinMs: 30 });
    const dead = await RawApp.connect(port, false);
    const alive = await App.connect(port);
    expect(await glove.called('drop')).toEqual(['drop', 'app1']);
    await dead.end();
    expect(dead.pings).toBe(1);
    expect((await alive.ask({ type: 'ping' })).type).toBe('ack');
  });
});
