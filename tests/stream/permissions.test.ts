import { afterEach, beforeEach, expect, test } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, armAsWearer, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

const TOKEN = 'token-of-the-game-app';
const DESK_TOKEN = 'token-of-the-desk-app';
const PERMISSIONS = {
  anyApp: [],
  apps: [
    { name: 'Game', may: ['resist' as const], token: TOKEN },
    { name: 'Desk', may: ['arm' as const, 'guide' as const], token: DESK_TOKEN },
    { name: 'http', may: ['guide' as const] },
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
        for (const path of ['/record', '/guide', '/fits/undo', '/feel/show'])
          app.post(path, () => ({ done: true }));
      },
    },
  );
});
afterEach(() => stream.close());

const bearer = (token: string) => ({ headers: { authorization: `Bearer ${token}` } });
const get = (path: string, headers: Record<string, string> = {}) =>
  fetch(`http://127.0.0.1:${stream.port}${path}`, { headers });
const post = (path: string, headers: Record<string, string> = {}) =>
  fetch(`http://127.0.0.1:${stream.port}${path}`, { method: 'POST', headers });
const refused = { type: 'error', code: 'notPermitted' };

test('an app may what its line says, and no more', async () => {
  const app = await App.connect(stream.port);
  expect(await app.ask(RESIST)).toMatchObject(refused);
  expect(await app.ask({ type: 'arm' })).toMatchObject(refused);
  const desk = await App.connect(stream.port, undefined, bearer(DESK_TOKEN));
  expect(await desk.ask({ type: 'arm' })).toMatchObject({ type: 'ack', armed: true });
  expect(await desk.ask(RESIST)).toMatchObject({
    ...refused,
    message: expect.stringContaining('stream.permissions'),
  });
});

test('to see and to let go, everybody may', async () => {
  const app = await App.connect(stream.port);
  glove.arm('test', 'wearer');
  expect(await app.ask({ type: 'subscribe', app: 'Nobody' })).toMatchObject({ type: 'ack' });
  expect(await app.ask({ type: 'release', hand: 'right' })).toMatchObject({ type: 'ack' });
  expect(await app.ask({ type: 'disarm' })).toMatchObject({ type: 'ack' });
  glove.arm('test', 'wearer');
  expect((await post('/disarm')).status).toBe(200);
  expect(glove.armed).toBe(false);
});

test('a name that has a token is taken by nobody else; the token proves it, and it stays', async () => {
  const impostor = await App.connect(stream.port);
  expect(await impostor.ask({ type: 'subscribe', app: 'Desk' })).toMatchObject({ ...refused, path: '/app' });
  expect(await impostor.ask({ type: 'arm' })).toMatchObject(refused);
  const guess = await App.connect(stream.port, undefined, bearer(`${DESK_TOKEN}x`));
  expect(await guess.ask({ type: 'arm' })).toMatchObject(refused);
  const game = await App.connect(stream.port, undefined, bearer(TOKEN));
  expect(await game.ask(RESIST)).toMatchObject({ type: 'ack' });
  await game.ask({ type: 'subscribe', app: 'Desk' });
  expect(await game.ask({ type: 'arm' })).toMatchObject(refused);
  expect(glove.armed).toBe(false);
});

test('requests over HTTP are judged by their token, else as `http`, however the address is written', async () => {
  for (const path of ['/arm', '/%61rm', '/record', '/%72ecord', '/arm?token=wrong-wrong-wrong-wrong']) {
    const response = await post(path);
    expect([path, response.status, await response.json()]).toMatchObject([
      path,
      403,
      { code: 'notPermitted' },
    ]);
  }
  expect((await post('/guide')).status).toBe(200);
  expect((await post('/arm', bearer(TOKEN).headers)).status).toBe(403);
  expect(glove.armed).toBe(false);
  expect((await post('/arm', bearer(DESK_TOKEN).headers)).status).toBe(200);
  expect(glove.calls.at(-1)).toEqual(['arm', 'Desk', 'app']);
});

test("the wearer's key opens everything; a wrong one, or one from before, opens nothing", async () => {
  expect(await armAsWearer(stream.port)).toMatchObject({ status: 200, body: { armed: true } });
  expect(glove.calls.at(-1)).toEqual(['arm', 'the wearer', 'wearer']);
  expect((await post('/record', { 'tautline-wearer': stream.wearerKey })).status).toBe(200);
  for (const key of ['', 'x', `${stream.wearerKey}x`, stream.wearerKey.slice(1)]) {
    expect((await post('/arm', { 'tautline-wearer': key })).status).toBe(403);
  }
  const before = stream.wearerKey;
  await stream.close();
  stream = await serve([glove], { permissions: PERMISSIONS });
  expect((await post('/arm', { 'tautline-wearer': before })).status).toBe(403);
});

test('the key is for the page of the service: no other page gets it, nor an app where there is a token', async () => {
  const own = { origin: `http://127.0.0.1:${stream.port}` };
  expect((await get('/wearer', own)).status).toBe(200);
  expect((await get('/wearer', { 'sec-fetch-site': 'same-origin' })).status).toBe(200);
  for (const site of ['cross-site', 'same-site', 'none']) {
    expect([site, (await get('/wearer', { 'sec-fetch-site': site })).status]).toEqual([site, 403]);
  }
  await stream.close();
  const token = 'correct-horse-battery';
  stream = await serve([glove], { permissions: PERMISSIONS, origins: ['https://app.example'], token });
  expect((await get('/wearer')).status).toBe(401);
  expect((await get('/wearer', bearer(TOKEN).headers)).status).toBe(403);
  expect((await get('/wearer', { ...bearer(token).headers, origin: 'https://app.example' })).status).toBe(
    403,
  );
  expect((await get('/wearer', bearer(token).headers)).status).toBe(200);
});

test("an app's own token opens a service that wants one", async () => {
  await stream.close();
  stream = await serve([glove], { permissions: PERMISSIONS, token: 'correct-horse-battery' });
  expect((await fetch(`http://127.0.0.1:${stream.port}/health`)).status).toBe(401);
  expect((await fetch(`http://127.0.0.1:${stream.port}/health?token=${TOKEN}`)).status).toBe(200);
});

test('to lead a comparison of forces takes the permission to put them on fingers', async () => {
  // It would otherwise be a way round it: whoever leads chooses what is felt.
  expect((await post('/guide')).status).toBe(200);
  expect((await post('/feel/show')).status).toBe(403);
  expect((await post('/feel/show', bearer(DESK_TOKEN).headers)).status).toBe(403);
  expect((await post('/feel/show', bearer(TOKEN).headers)).status).toBe(200);
});
