import {
  chmodSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { afterEach, expect, it } from 'vitest';
import { loadProfile } from '../../src/config/load.js';
import { type Service, type ServiceOptions, startService } from '../../src/service.js';
import { silent } from '../recording/live-glove.js';
import { armAsWearer } from './app.js';
import { wearerHeaders } from './arm.js';

/** The profile over HTTP: for the wearer alone, checked as it is typed, saved with a backup, and never an act on a glove. */

const folder = mkdtempSync(join(tmpdir(), 'tautline-profile-'));
const services: Service[] = [];
afterEach(async () => {
  for (const service of services.splice(0)) await service.close();
  rmSync(folder, { recursive: true, force: true });
});

const TOKEN = 'token-of-an-app-012345';
const PROFILE = `profile: 1
name: Mine
stream:
  port: 0
  permissions:
    apps: [{ name: Alpha, token: ${TOKEN}, may: [resist, arm, record, guide] }]
gloves:
  - name: Test glove
    hand: right
    link: { kind: simulated, sampleRateHz: 100 }
    channels: [{ role: index.curl, open: 500, closed: 3000 }]
    actuators: [{ role: index, kind: stringStop }]
`;

async function serve(file: string, options: Partial<ServiceOptions> = {}) {
  const profile = await loadProfile(file);
  const service = await startService({ profile, profileFile: file, logger: silent, ...options });
  services.push(service);
  const port = Number(new URL(service.address).port);
  const base = `http://127.0.0.1:${port}`;
  const own = await wearerHeaders(base);
  const ask = async (method: string, path: string, body?: object, headers: Record<string, string> = own) => {
    const response = await fetch(base + path, {
      method,
      headers: { ...headers, ...(body ? { 'content-type': 'application/json' } : {}) },
      ...(body ? { body: JSON.stringify(body) } : {}),
    });
    return { status: response.status, body: (await response.json()) as Record<string, never> };
  };
  return { ask, port, service };
}
function fileWith(text: string): string {
  const file = join(mkdtempSync(join(tmpdir(), 'tautline-profile-')), 'mine.yaml');
  writeFileSync(file, text, { mode: 0o600 });
  return file;
}
const backups = (file: string) =>
  readdirSync(join(file, '..'))
    .filter((name) => name.endsWith('.bak'))
    .sort();

it('shows it without its tokens, saves it with them, keeps the old one, and says when it takes effect', async () => {
  const file = fileWith(PROFILE);
  const { ask } = await serve(file);
  const { body } = await ask('GET', '/profile');
  expect(body).toMatchObject({ file, changed: false });
  const { text, digest } = body as unknown as { text: string; digest: string };
  expect(text).not.toContain(TOKEN);
  const changed = text.replace('name: Mine', 'name: Changed');
  const saved = await ask('POST', '/profile', { text: changed, digest });
  expect(saved.status).toBe(200);
  expect(readFileSync(file, 'utf8')).toBe(PROFILE.replace('name: Mine', 'name: Changed'));
  expect(readFileSync(saved.body.backup, 'utf8')).toBe(PROFILE);
  expect(statSync(file).mode & 0o777).toBe(0o600);
  expect(statSync(saved.body.backup).mode & 0o777).toBe(0o600);
  expect((await ask('GET', '/profile')).body).toMatchObject({ changed: true, digest: saved.body.digest });
  // Written over what somebody else wrote meanwhile: refused, and nothing is lost.
  expect(await ask('POST', '/profile', { text, digest })).toMatchObject({
    status: 409,
    body: { code: 'tryAgain' },
  });
  expect(readFileSync(file, 'utf8')).toContain('name: Changed');
  // Nothing but the profile and its backups is left.
  expect(readdirSync(join(file, '..')).filter((name) => name.endsWith('.new'))).toEqual([]);
});

it('says what it was started with, whole path and all, and whether that has changed', async () => {
  const file = fileWith(PROFILE);
  const { ask } = await serve(relative(process.cwd(), file));
  const inUse = async () => (await ask('GET', '/profile/in-use')).body;
  expect(await inUse()).toEqual({ kind: 'file', file, changed: false });
  writeFileSync(file, `${PROFILE}# more`);
  expect(await inUse()).toEqual({ kind: 'file', file, changed: true });
  rmSync(file);
  expect(await inUse()).toEqual({ kind: 'file', file, changed: true });
  const own = fileWith(PROFILE);
  const simulated = await serve(own, { profileFile: undefined, shippedProfile: own });
  expect((await simulated.ask('GET', '/profile/in-use')).body).toEqual({ kind: 'simulated' });
  const recording = await serve(own, { profileFile: undefined });
  expect((await recording.ask('GET', '/profile/in-use')).body).toEqual({ kind: 'recording' });
});

it('is refused to everybody but the wearer, with whatever token', async () => {
  const file = fileWith(PROFILE);
  const { ask } = await serve(file);
  const { digest, text } = (await ask('GET', '/profile')).body as unknown as { digest: string; text: string };
  for (const headers of [
    {},
    { 'tautline-wearer': 'a-guess' },
    { authorization: `Bearer ${TOKEN}` },
    { origin: 'http://elsewhere.example' },
  ] as Record<string, string>[]) {
    for (const [method, path, body] of [
      ['GET', '/profile', undefined],
      ['GET', '/profile/in-use', undefined],
      ['POST', '/profile/check', { text }],
      ['POST', '/profile', { text: `${text}\n# more`, digest }],
    ] as const) {
      const refused = await ask(method, path, body, headers);
      expect([refused.status, refused.body.code, refused.body.text]).toEqual([
        403,
        'notPermitted',
        undefined,
      ]);
    }
  }
  expect(readFileSync(file, 'utf8')).toBe(PROFILE);
  expect(backups(file)).toEqual([]);
});

it('says what is wrong and where, and saves nothing that is', async () => {
  const file = fileWith(PROFILE);
  const { ask } = await serve(file);
  const { text, digest } = (await ask('GET', '/profile')).body as unknown as { text: string; digest: string };
  const bad = text.replace('hand: right', 'hand: rihgt').replace('closed: 3000', 'closed: 500');
  const { problems } = (await ask('POST', '/profile/check', { text: bad })).body as unknown as {
    problems: { line: number; path: string; text: string }[];
  };
  expect(problems).toEqual([
    expect.objectContaining({ line: 9, path: 'gloves.0.hand', text: expect.stringContaining('right') }),
    expect.objectContaining({ line: 11, path: 'gloves.0.channels.0.closed' }),
  ]);
  expect((await ask('POST', '/profile/check', { text })).body).toEqual({ problems: [] });
  const refused = await ask('POST', '/profile', { text: bad, digest });
  expect(refused).toMatchObject({ status: 422, body: { code: 'profileInvalid' } });
  for (const body of [{ text: 3, digest }, { text }, { text: 'x'.repeat(70_000), digest }]) {
    expect((await ask('POST', '/profile', body)).status).toBeGreaterThanOrEqual(400);
  }
  expect(readFileSync(file, 'utf8')).toBe(PROFILE);
  expect(backups(file)).toEqual([]);
});

it('neither arms nor frees nor remakes a glove by it', async () => {
  const file = fileWith(PROFILE);
  const { ask, port, service } = await serve(file);
  const [glove] = service.gloves;
  const deadline = Date.now() + 10_000;
  while (!glove.connected && Date.now() < deadline) await new Promise((resolve) => setTimeout(resolve, 20));
  const before = glove.description;
  const save = async (change: (text: string) => string) => {
    const { text, digest } = (await ask('GET', '/profile')).body as unknown as {
      text: string;
      digest: string;
    };
    return (await ask('POST', '/profile', { text: change(text), digest })).status;
  };
  expect(await save((text) => text.replace('closed: 3000', 'closed: 2000'))).toBe(200);
  expect([glove.armed, glove.description === before]).toEqual([false, true]);
  expect((await armAsWearer(port)).status).toBe(200);
  expect(await save((text) => text.replace('closed: 2000', 'closed: 2500'))).toBe(200);
  expect([glove.armed, glove.description === before]).toEqual([true, true]);
});

it('follows a link to the file, and keeps ten backups', async () => {
  const file = fileWith(PROFILE);
  const link = join(file, '..', 'link.yaml');
  symlinkSync(file, link);
  for (let n = 10; n < 22; n++) writeFileSync(`${file}.20200101T0000${n}Z.bak`, 'old');
  const { ask } = await serve(link);
  const { text, digest } = (await ask('GET', '/profile')).body as unknown as { text: string; digest: string };
  expect((await ask('POST', '/profile', { text: `${text}# more\n`, digest })).status).toBe(200);
  expect(readFileSync(file, 'utf8')).toContain('# more');
  const kept = backups(file);
  expect(kept).toHaveLength(10);
  expect(readFileSync(join(file, '..', kept[9]), 'utf8')).toBe(PROFILE);
});

it.skipIf(process.getuid?.() === 0)('says so where it may not write, and leaves all as it was', async () => {
  const file = fileWith(PROFILE);
  const { ask } = await serve(file);
  const { text, digest } = (await ask('GET', '/profile')).body as unknown as { text: string; digest: string };
  chmodSync(join(file, '..'), 0o500);
  try {
    expect(await ask('POST', '/profile', { text: `${text}# more\n`, digest })).toMatchObject({
      status: 409,
      body: { code: 'fileDenied' },
    });
  } finally {
    chmodSync(join(file, '..'), 0o700);
  }
  expect(readFileSync(file, 'utf8')).toBe(PROFILE);
});
