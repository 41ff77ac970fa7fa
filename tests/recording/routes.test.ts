import { execFileSync } from 'node:child_process';
import {
  chmodSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { describeSession } from '../../src/recording/info.js';
import { openSession } from '../../src/recording/session.js';
import { type Service, startService } from '../../src/service.js';
import { App, armAsWearer } from '../stream/app.js';
import { silent, simulatedProfile } from './live-glove.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-routes-'));
let service: Service;
let base: string;

beforeAll(async () => {
  const profile = simulatedProfile(['right'], 100);
  profile.stream.port = 0;
  service = await startService({ profile, logger: silent, sessionsFolder: join(folder, 'sessions') });
  base = `http://${new URL(service.address).host}`;
}, 60_000);
afterAll(async () => {
  await service.close();
  rmSync(folder, { recursive: true, force: true });
});

async function ask(method: string, path: string) {
  const response = await fetch(base + path, { method });
  return { status: response.status, body: (await response.json()) as Record<string, never> };
}
const post = (path: string) => ask('POST', path);
const list = async () => (await ask('GET', '/sessions')).body as Record<string, never>;

/** Asks until it is so. */
async function until(look: () => Promise<boolean>): Promise<void> {
  while (!(await look())) await new Promise((resolve) => setTimeout(resolve, 50));
}

test('two recordings of one second have names of their own', async () => {
  const files: string[] = [];
  for (let take = 0; take < 3; take++) {
    const begun = await post('/record');
    expect(begun.status).toBe(200);
    files.push(String(begun.body.file));
    await post('/record/stop');
  }
  expect(new Set(files).size).toBe(3);
  // Three take less than two seconds.
  expect(files.some((file) => /-\d{6}-2\.mcap$/.test(file))).toBe(true);
  for (const file of files) rmSync(file);
});

test('record, mark, stop, list, download, delete', async () => {
  expect(await post('/record/stop')).toMatchObject({ status: 409, body: { code: 'notSupported' } });
  expect(await post('/record?name=first.mcap')).toMatchObject({ status: 200, body: { running: true } });
  expect(await post('/record?name=second.mcap')).toMatchObject({ status: 409, body: { code: 'tooMany' } });
  expect(await ask('DELETE', '/sessions/first.mcap')).toMatchObject({ status: 409 });
  await until(async () => ((await list()) as { recording?: { bytes: number } }).recording!.bytes > 60_000);
  expect(await post('/record/mark?text=a%20moment')).toMatchObject({ status: 200, body: { marks: 1 } });
  expect(await post('/record/stop')).toMatchObject({ status: 200, body: { running: false } });

  const file = join(folder, 'sessions', 'first.mcap');
  expect(await list()).toMatchObject({
    sessions: [{ name: 'first.mcap', bytes: readFileSync(file).length }],
  });
  const session = openSession(file);
  const info = describeSession(session);
  session.close();
  expect(info).toMatchObject({ complete: true, marks: [{ text: 'a moment' }] });
  expect(info.hands[0].samples).toBeGreaterThan(20);
  const download = await fetch(`${base}/sessions/first.mcap`);
  expect(Buffer.from(await download.arrayBuffer()).equals(readFileSync(file))).toBe(true);
  expect(await ask('DELETE', '/sessions/first.mcap')).toMatchObject({ status: 200 });
  expect(existsSync(file)).toBe(false);
  expect(await ask('DELETE', '/sessions/first.mcap')).toMatchObject({ status: 404 });
});

test.each([
  '..%2Foutside.mcap',
  '..%5Coutside.mcap',
  '%2Fetc%2Fpasswd',
  '.hidden.mcap',
  'a..b.mcap',
  'a%00.mcap',
  'con.mcap',
  'profile.yaml',
  '',
])('a name that leads elsewhere (%s) is refused, whatever is asked', async (name) => {
  writeFileSync(join(folder, 'outside.mcap'), 'mine');
  for (const { status } of [
    await post(`/record?name=${name}`),
    await post(`/replay?name=${name}`),
    await ask('DELETE', `/sessions/${name}`),
  ]) {
    expect(status).toBeGreaterThanOrEqual(400);
    expect(status).toBeLessThan(500);
  }
  expect((await fetch(`${base}/sessions/${name}/`)).status).toBeGreaterThanOrEqual(400);
  expect(readFileSync(join(folder, 'outside.mcap'), 'utf8')).toBe('mine');
});

test('a session takes the place of the glove for an app, and gives it back', async () => {
  copyFileSync('config/sessions/grasp.mcap', join(folder, 'sessions', 'grasp.mcap'));
  const app = await App.connect(Number(new URL(base).port));
  const shows = (name: string) => app.reached(() => app.of('welcome').at(-1)?.hands[0]?.name === name);
  await shows('right glove');
  const recorded = () => app.of('welcome').at(-1)?.hands[0]?.link.recorded;
  const health = async () =>
    (await ask('GET', '/health')).body as unknown as { gloves: { link: { recorded?: string } }[] };
  expect(recorded()).toBeUndefined();
  expect(await post('/replay?name=grasp.mcap&loop=1')).toMatchObject({
    status: 200,
    body: { playing: true },
  });
  await shows('right host glove');
  // That it is a recording, and which, is told wherever the glove is told of.
  expect(recorded()).toBe('grasp.mcap');
  expect((await health()).gloves[0].link.recorded).toBe('grasp.mcap');
  app.send({ type: 'subscribe', streams: ['joints', 'health'] });
  await app.reached(() => app.of('health').length > 0);
  expect(app.of('health')[0].link.recorded).toBe('grasp.mcap');
  const poses = () => app.of('joints').filter(({ valid }) => valid);
  await app.reached(() => poses().length >= 20);
  // Every pose says so itself.
  expect(new Set(poses().map((pose) => pose.recorded))).toEqual(new Set([true]));
  const times = poses().map(({ timeUs }) => timeUs);
  for (let i = 1; i < times.length; i++) expect(times[i]).toBeGreaterThan(times[i - 1]);
  // Nobody is in it: nothing to arm, to check or to fit.
  const port = Number(new URL(service.address).port);
  const closeFirst = { code: 'notSupported', message: expect.stringContaining('Close the replay first.') };
  expect(await armAsWearer(port)).toMatchObject({ status: 409, body: closeFirst });
  for (const task of ['check', 'fit', 'actuators']) {
    expect(await post(`/guide?task=${task}`)).toMatchObject({ status: 409, body: closeFirst });
  }
  // Nor is anything done to the glove that is hidden behind it.
  for (const path of ['guide/accept', 'fits/undo', 'fits/use?person=Ada', 'fits/hand', 'rezero']) {
    expect(await post(`/${path}`), path).toMatchObject({ status: 409, body: closeFirst });
  }
  expect(await post('/replay/pause')).toMatchObject({ body: { playing: false } });
  expect(await post('/replay/seek?to=2')).toMatchObject({ body: { positionS: 2 } });
  expect(await post('/replay/seek?to=x')).toMatchObject({ status: 400, body: { code: 'badMessage' } });
  expect(await post('/replay/speed?speed=max')).toMatchObject({ body: { speed: null } });
  expect(await post('/replay/close')).toMatchObject({ status: 200 });
  expect(await ask('GET', '/replay')).toMatchObject({ status: 409 });
  await until(async () => (await armAsWearer(port)).status === 200);
  // What the wearer had armed before a replay does not come back with its end.
  expect(await post('/replay?name=grasp.mcap')).toMatchObject({ status: 200 });
  await post('/replay/close');
  expect(await ask('GET', '/health')).toMatchObject({ body: { gloves: [{ armed: false }] } });
  await shows('right glove');
  expect(recorded()).toBeUndefined();
  expect((await health()).gloves[0].link.recorded).toBeUndefined();
  const before = poses().length;
  await app.reached(() => poses().length > before + 5);
  expect(poses().at(-1)!.recorded).toBeUndefined();
  app.ws.terminate();
});

test('what was recorded with figures that no profile may have now is shown as it was', async () => {
  const profile = simulatedProfile(['right'], 100);
  profile.stream.port = 0;
  profile.gloves[0].actuators[0].stallTorqueNm = 1.5;
  const sessionsFolder = join(folder, 'older');
  const older = await startService({ profile, logger: silent, sessionsFolder });
  const at = (path: string) =>
    fetch(`http://${new URL(older.address).host}${path}`, { method: 'POST' }).then(({ status }) => status);
  try {
    expect(await at('/record?name=older.mcap')).toBe(200);
    expect(await at('/record/stop')).toBe(200);
    expect(await at('/replay?name=older.mcap')).toBe(200);
  } finally {
    await older.close();
  }
});

test('a recording as the body of an answer', async () => {
  const response = await fetch(`${base}/record/stream`);
  const file = join(folder, 'streamed.mcap');
  const body = response.arrayBuffer();
  await post('/record/mark?text=from%20afar');
  await new Promise((resolve) => setTimeout(resolve, 1200));
  await post('/record/stream/stop');
  writeFileSync(file, Buffer.from(await body));
  const session = openSession(file);
  const info = describeSession(session);
  session.close();
  expect(info).toMatchObject({ complete: true, marks: [{ text: 'from afar' }] });
});

test.runIf(process.platform !== 'win32')(
  'links and what is no file: read as what they lead to, never written through, never waited for',
  async () => {
    const sessions = join(folder, 'sessions');
    const elsewhere = join(folder, 'elsewhere.mcap');
    copyFileSync('config/sessions/grasp.mcap', elsewhere);
    const kept = readFileSync(elsewhere);
    rmSync(sessions, { recursive: true, force: true });
    mkdirSync(sessions);
    symlinkSync(elsewhere, join(sessions, 'link.mcap'));
    symlinkSync(join(folder, 'nowhere.mcap'), join(sessions, 'dangling.mcap'));
    execFileSync('mkfifo', [join(sessions, 'pipe.mcap')]);
    mkdirSync(join(sessions, 'folder.mcap'));
    const { sessions: listed } = (await list()) as unknown as { sessions: { name: string }[] };
    expect(listed.map(({ name }) => name)).toEqual(['link.mcap']);
    const download = await fetch(`${base}/sessions/link.mcap`);
    expect(Buffer.from(await download.arrayBuffer())).toEqual(kept);

    for (const name of ['dangling', 'pipe', 'folder']) {
      const missing = {
        status: 404,
        body: { code: 'fileNotFound', message: `There is no session ${name}.mcap.` },
      };
      expect(await ask('GET', `/sessions/${name}.mcap`), name).toMatchObject(missing);
      expect(await post(`/replay?name=${name}.mcap`), name).toMatchObject(missing);
    }
    for (const name of ['link', 'dangling', 'pipe', 'folder']) {
      const refused = await post(`/record?name=${name}.mcap`);
      expect(refused.status, name).toBe(409);
      expect(JSON.stringify(refused.body), name).toMatch(/is there already/);
    }
    expect(existsSync(join(folder, 'nowhere.mcap'))).toBe(false);
    // The link goes, not what it leads to.
    expect(await ask('DELETE', '/sessions/link.mcap')).toMatchObject({ status: 200 });
    expect(readFileSync(elsewhere)).toEqual(kept);
    for (const name of readdirSync(sessions)) rmSync(join(sessions, name), { recursive: true });
  },
);

test('a folder that cannot be made or written: one line each time, and the glove goes on', async () => {
  const file = join(folder, 'a-file');
  writeFileSync(file, '');
  const locked = join(folder, 'locked');
  mkdirSync(locked);
  chmodSync(locked, 0o500);
  // Root may write anywhere.
  const folders = process.getuid?.() === 0 ? [join(file, 'sessions')] : [join(file, 'sessions'), locked];
  for (const sessionsFolder of folders) {
    const profile = simulatedProfile(['right'], 100);
    profile.stream.port = 0;
    const other = await startService({ profile, logger: silent, sessionsFolder });
    try {
      const url = `http://${new URL(other.address).host}`;
      for (let times = 0; times < 2; times++) {
        const answer = await fetch(`${url}/record?name=a.mcap`, { method: 'POST' });
        expect(Math.floor(answer.status / 100)).toBe(4);
        const { message } = (await answer.json()) as { message: string };
        expect(message).toContain(sessionsFolder);
        expect(message).not.toContain('\n');
      }
      const app = await App.connect(Number(new URL(other.address).port));
      app.send({ type: 'subscribe', streams: ['joints'] });
      await app.until((each) => each.type === 'joints' && each.valid === true);
      app.ws.close();
    } finally {
      await other.close();
    }
  }
  chmodSync(locked, 0o700);
});
