import { afterEach, describe, expect, it } from 'vitest';
import type { StreamLimits } from '../../src/stream/limits.js';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';
import { RawApp } from './raw-app.js';

let glove: FakeGlove;
let stream: Stream;
let raw: RawApp | undefined;
afterEach(async () => {
  // It answers no goodbye.
  raw?.socket.destroy();
  raw = undefined;
  await stream.close();
});

const start = async (limits: Partial<StreamLimits> = {}): Promise<void> => {
  glove = new FakeGlove();
  stream = await serve([glove], {}, { limits });
};

/** Keeps the processor for so long. */
function work(ms: number): void {
  const untilMs = performance.now() + ms;
  while (performance.now() < untilMs);
}

const RESIST = { type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.5, effort: 1 } } };

describe('more than the service gets done', () => {
  it('is kept up to a bound in bytes; the rest is not taken, and that is said', async () => {
    await start({ maxWaitingBytes: 2000 });
    const sent = 64;
    const message = { type: 'ping', id: 'x'.repeat(60) };
    const bytes = JSON.stringify(message).length;
    raw = await RawApp.connect(stream.port);
    const app = raw;
    await app.reached(() => app.of('welcome').length === 1);
    // In one read: all of them are there before any is acted on.
    app.socket.cork();
    for (let i = 0; i < sent; i++) app.sendText(message);
    app.socket.uncork();
    const kept = Math.floor(2000 / bytes);
    await app.reached(() => app.of('ack').length === kept && app.of('error').length > 0);
    expect(app.of('error')).toMatchObject([
      { code: 'tryAgain', message: expect.stringContaining(`${sent - kept} of the messages`) },
    ]);
    // And then it goes on.
    app.sendText({ type: 'ping', id: 'after' });
    await app.reached(() => app.of('ack').some(({ id }) => id === 'after'));
  });

  it('asks for no force when its turn comes too late', async () => {
    await start({ actMs: 1 });
    const app = await App.connect(stream.port);
    glove.resist = () => {
      work(30);
      return undefined;
    };
    const sent = 20;
    for (let i = 0; i < sent; i++) app.send({ ...RESIST, id: i });
    app.send({ type: 'ping', id: 'last' });
    await app.until((m) => 'id' in m && m.id === 'last');
    const late = app.of('error');
    // Those that waited for 250 ms, at 30 ms each.
    expect(app.of('ack').length).toBeGreaterThanOrEqual(5);
    expect(late.length).toBeGreaterThanOrEqual(5);
    expect(late.every(({ code }) => code === 'tryAgain')).toBe(true);
    expect(app.of('ack').length + late.length).toBe(sent + 1);
  });

  it('of one app keeps another waiting for one turn at most', async () => {
    await start({ actMs: 1 });
    const [greedy, modest] = [await App.connect(stream.port), await App.connect(stream.port)];
    let done = 0;
    glove.resist = () => {
      work(5);
      done++;
      return undefined;
    };
    for (let i = 0; i < 100; i++) greedy.send(RESIST);
    while (done < 3) await new Promise(setImmediate);
    const before = done;
    await modest.ask({ type: 'ping' });
    expect(done - before).toBeLessThan(10);
  });
});
