import { afterEach, beforeEach, expect, test } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

const TOKEN = 'token-of-the-game-app';
const PERMISSIONS = {
  anyApp: [],
  apps: [
    { name: 'Game', may: ['resist' as const], token: TOKEN },
    { name: 'Desk', may: ['arm' as const, 'guide' as const] },
  ],
};
const RESIST = { type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.5, effort: 1 } } };
let glove: FakeGlove;
let stream: Stream;
beforeEach(async () => {
  glove = new FakeGlove();
  stream = await serve(
    [glove],
    { permissions: PERMISSIONS },
    {
      routes: (app) => {
        for (const path of ['/record', '/guide', '/fits/undo']) app.post(path, () => ({ done: true }));
      },
    },
  );
});
afterEach(() => stream.close());

const post = (path: string, headers: Record<string, string> = {}) =>
  fetch(`http://127.0.0.1:${stream.port}${path}`, { method: 'POST', headers });
const refused = { type: 'error', code: 'notPermitted' };

test('an app may what its line says, and no more', async () => {
  const app = await App.connect(stream.port);
  expect(await app.ask(RESIST)).toMatchObject(refused);
  expect(await app.ask({ type: 'arm' })).toMatchObject(refused);
  expect(await app.ask({ type: 'subscribe', app: 'Desk' })).toMatchObject({ type: 'ack' });
  expect(await app.ask({ type: 'arm' })).toMatchObject({ type: 'ack', armed: true });
  expect(await app.ask(RESIST)).toMatchObject({
    ...refused,
    message: expect.stringContaining('stream.permissions'),
  });
});

test('to see and to let go, everybody may', async () => {
  const app = await App.connect(stream.port);
  glove.arm('test');
  expect(await app.ask({ type: 'subscribe', app: 'Nobody' })).toMatchObject({ type: 'ack' });
  expect(await app.ask({ type: 'release', hand: 'right' })).toMatchObject({ type: 'ack' });
  expect(await app.ask({ type: 'disarm' })).toMatchObject({ type: 'ack' });
  glove.arm('test');
  expect((await post('/disarm')).status).toBe(200);
  expect(glove.armed).toBe(false);
});

test('a name that has a token is taken by nobody else; the token proves it, and it stays', async () => {
  const impostor = await App.connect(stream.port);
  expect(await impostor.ask({ type: 'subscribe', app: 'Game' })).toMatchObject({ ...refused, path: '/app' });
  expect(await impostor.ask(RESIST)).toMatchObject(refused);
  const guess = await App.connect(stream.port, undefined, { headers: { authorization: `Bearer ${TOKEN}x` } });
  expect(await guess.ask(RESIST)).toMatchObject(refused);
  const game = await App.connect(stream.port, undefined, { headers: { authorization: `Bearer ${TOKEN}` } });
  expect(await game.ask(RESIST)).toMatchObject({ type: 'ack' });
  await game.ask({ type: 'subscribe', app: 'Desk' });
  expect(await game.ask({ type: 'arm' })).toMatchObject(refused);
});

test('requests over HTTP are judged by their token, else as `http`, however the address is written', async () => {
  for (const path of [
    '/arm',
    '/%61rm',
    '/record',
    '/guide',
    '/fits/undo',
    '/arm?token=wrong-wrong-wrong-wrong',
  ]) {
    const response = await post(path);
    expect([path, response.status, await response.json()]).toMatchObject([
      path,
      403,
      { code: 'notPermitted' },
    ]);
  }
  expect((await post('/arm', { authorization: `Bearer ${TOKEN}` })).status).toBe(403);
  expect(glove.armed).toBe(false);
});

test("an app's own token opens a service that wants one", async () => {
  await stream.close();
  stream = await serve([glove], { permissions: PERMISSIONS, token: 'correct-horse-battery' });
  expect((await fetch(`http://127.0.0.1:${stream.port}/health`)).status).toBe(401);
  expect((await fetch(`http://127.0.0.1:${stream.port}/health?token=${TOKEN}`)).status).toBe(200);
});
