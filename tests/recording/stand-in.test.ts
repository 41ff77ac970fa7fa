import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import { openSession } from '../../src/recording/session.js';
import { type Service, startService } from '../../src/service.js';
import { App, armAsWearer } from '../stream/app.js';
import { silent } from './live-glove.js';

/** For whoever has no glove yet: a simulated one, and sessions that come with the program, without a restart. */

const services: Service[] = [];
afterEach(async () => {
  for (const service of services.splice(0)) await service.close();
});

const NOWHERE = [
  'profile: 1',
  'gloves:',
  '  - name: My glove',
  '    hand: left',
  '    link: { kind: serial, path: /dev/tautline-nowhere }',
  '    channels: [{ role: index.curl, open: 500, closed: 3000 }]',
  '    actuators: [{ role: index, kind: stringStop }]',
  'safety: { maxTensionN: 5 }',
].join('\n');

async function serve(text: string, sessionsFolder?: string) {
  const profile = parseProfile(text, 'test');
  profile.stream.port = 0;
  const service = await startService({ profile, logger: silent, sessionsFolder });
  services.push(service);
  const base = `http://${new URL(service.address).host}`;
  const ask = async (method: string, path: string) => {
    const response = await fetch(base + path, { method });
    return { status: response.status, body: (await response.json()) as Record<string, unknown> };
  };
  return { service, ask, port: Number(new URL(service.address).port) };
}
/** The hand as an app that came in late would find it, once that is so. */
async function welcomeWhen(app: App, holds: (link: { state: string; simulated?: true }) => boolean) {
  const newest = () => app.of('welcome').at(-1)?.hands[0];
  await app.reached(() => {
    const hand = newest();
    return hand !== undefined && holds(hand.link);
  });
  return newest();
}

it('shows a simulated glove in place of one that is not there, which can be armed, and hides it again', async () => {
  const { service, ask, port } = await serve(NOWHERE);
  const app = await App.connect(port);
  app.send({ type: 'subscribe', streams: ['joints', 'health'] });
  expect(await ask('GET', '/sessions')).toMatchObject({ body: { simulated: false } });
  // Both at once: the second finds the first one's, and leaves none of them behind.
  const both = await Promise.all([ask('POST', '/simulate'), ask('POST', '/simulate')]);
  expect(both.map(({ status }) => status)).toEqual([200, 200]);
  const shown = await welcomeWhen(app, ({ simulated, state }) => simulated === true && state === 'live');
  expect(shown).toMatchObject({ hand: 'left', name: 'Simulated glove', armed: false, maxTensionN: 5 });
  expect(await ask('GET', '/sessions')).toMatchObject({ body: { simulated: true } });
  await app.reached(() => app.of('joints').some(({ valid }) => valid));

  expect((await armAsWearer(port)).status).toBe(200);
  // The glove behind it is not.
  const [real] = service.gloves;
  expect(real.armed).toBe(false);
  expect(real.arm('test', 'wearer')).toMatchObject({ code: 'notSupported' });

  expect((await ask('POST', '/replay/close')).status).toBe(200);
  const back = await welcomeWhen(app, ({ simulated }) => simulated === undefined);
  expect(app.schemaErrors).toEqual([]);
  expect(back).toMatchObject({ name: 'My glove', armed: false });
  expect((await armAsWearer(port)).status).toBe(409);
  app.ws.close();
}, 30_000);

it('records what is shown: the simulated glove while it is, the glove itself before and during a replay', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-stand-in-'));
  const { ask } = await serve(NOWHERE, folder);
  const recording = async () => (await ask('GET', '/sessions')).body.recording as Record<string, unknown>;
  const handOf = (name: string) => {
    const session = openSession(join(folder, name));
    const { hands, profile } = session;
    session.close();
    return { hands, glove: profile.gloves[0].name, tension: profile.safety.maxTensionN };
  };

  expect((await ask('POST', '/record?name=before.mcap')).status).toBe(200);
  expect((await recording()).simulated).toBeUndefined();
  // Somebody records their glove: what is shown meanwhile does not change that.
  await ask('POST', '/simulate');
  expect(await recording()).toMatchObject({ running: true });
  expect((await recording()).simulated).toBeUndefined();
  await ask('POST', '/record/stop');
  expect(handOf('before.mcap').glove).toBe('My glove');

  expect((await ask('POST', '/record?name=shown.mcap')).status).toBe(200);
  expect(await recording()).toMatchObject({ running: true, simulated: true });
  await expect
    .poll(async () => Number((await recording()).seconds), { timeout: 10_000 })
    .toBeGreaterThan(0.2);
  // It ends with what it is of, complete.
  await ask('POST', '/replay/close');
  expect(await recording()).toMatchObject({ running: false });
  expect(handOf('shown.mcap')).toEqual({ hands: ['left'], glove: 'Simulated glove', tension: 5 });
  const session = openSession(join(folder, 'shown.mcap'));
  expect(session.endUs - session.startUs).toBeGreaterThan(100_000);
  session.close();
  // As many samples as a glove gives, and it can be replayed.
  expect((await ask('POST', '/replay?name=shown.mcap')).status).toBe(200);

  expect((await ask('POST', '/record?name=during.mcap')).status).toBe(200);
  expect((await recording()).simulated).toBeUndefined();
  await ask('POST', '/record/stop');
  expect(handOf('during.mcap').glove).toBe('My glove');
  rmSync(folder, { recursive: true, force: true });
}, 60_000);

it('offers the sessions that come with the program, by their names alone', async () => {
  const { ask } = await serve(NOWHERE);
  expect((await ask('GET', '/sessions')).body.examples).toEqual([
    'everyday.mcap',
    'faults.mcap',
    'grasp.mcap',
  ]);
  // A session that has its hand, without a folder for sessions of its own.
  expect(await ask('POST', '/replay?name=everyday.mcap&example=1')).toMatchObject({
    status: 200,
    body: { playing: true },
  });
  expect(await ask('GET', '/sessions')).toMatchObject({ body: { replay: { name: 'everyday.mcap' } } });
  for (const name of ['..%2F..%2Fpackage.json', 'nothing.mcap', '..%2Feveryday.mcap']) {
    const { status } = await ask('POST', `/replay?name=${name}&example=1`);
    expect([400, 404]).toContain(status);
  }
  // A simulated glove takes the place of the replay.
  expect((await ask('POST', '/simulate')).status).toBe(200);
  expect((await ask('GET', '/sessions')).body.replay).toBeUndefined();
}, 30_000);

it('refuses where the gloves are simulated already, and where the profile lets nobody replay', async () => {
  const simulated = await serve(readFileSync('config/simulated.yaml', 'utf8'));
  expect(await simulated.ask('POST', '/simulate')).toMatchObject({
    status: 409,
    body: { message: 'The gloves of this service are simulated already.' },
  });
  const strict = await serve(`${NOWHERE}\nstream: { permissions: { anyApp: [resist] } }`);
  expect(await strict.ask('POST', '/simulate')).toMatchObject({
    status: 403,
    body: { code: 'notPermitted' },
  });
}, 30_000);
