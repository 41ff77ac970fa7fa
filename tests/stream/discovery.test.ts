import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { discoveryFile, readDiscoveryFile, writeDiscoveryFile } from '../../src/stream/discovery.js';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-discovery-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('lies in the runtime folder of the user, where there is one', () => {
  expect(discoveryFile({ XDG_RUNTIME_DIR: '/run/user/1000' }, 'linux')).toBe(
    '/run/user/1000/tautline/stream.json',
  );
  expect(discoveryFile({}, 'linux')).toBeUndefined();
  // The specification: a path that is not absolute is to be ignored.
  expect(discoveryFile({ XDG_RUNTIME_DIR: 'run' }, 'linux')).toBeUndefined();
  expect(discoveryFile({ LOCALAPPDATA: 'C:\\Users\\me\\AppData\\Local' }, 'win32')).toBe(
    'C:\\Users\\me\\AppData\\Local\\Tautline\\stream.json',
  );
});

it.skipIf(process.platform === 'win32')('is for the eyes of the user alone', async () => {
  const file = join(folder, 'tautline', 'stream.json');
  const before = process.umask(0);
  try {
    await writeDiscoveryFile(file, { url: 'ws://127.0.0.1:7117/stream', token: 'a secret', pid: 1 });
  } finally {
    process.umask(before);
  }
  expect(statSync(file).mode & 0o777).toBe(0o600);
  expect(statSync(join(folder, 'tautline')).mode & 0o777).toBe(0o700);
});

it('is removed at the end, but not when it is another service’s by then', async () => {
  const file = join(folder, 'stream.json');
  const forget = await writeDiscoveryFile(file, { url: 'ws://127.0.0.1:1/stream', pid: 11 });
  expect(JSON.parse(readFileSync(file, 'utf8'))).toEqual({ url: 'ws://127.0.0.1:1/stream', pid: 11 });
  const forgetNewer = await writeDiscoveryFile(file, { url: 'ws://127.0.0.1:2/stream', pid: 12 });
  await forget();
  expect(JSON.parse(readFileSync(file, 'utf8')).pid).toBe(12);
  await forgetNewer();
  expect(() => statSync(file)).toThrow('ENOENT');
  // Whatever became of it meanwhile, ending goes on.
  await forgetNewer();
  writeFileSync(file, 'not JSON');
  await forgetNewer();
});

it('is read only while its service is alive', async () => {
  const file = join(folder, 'alive.json');
  const alive = { url: 'ws://127.0.0.1:7200/stream', pid: process.pid };
  await writeDiscoveryFile(file, alive);
  expect(await readDiscoveryFile(file)).toEqual(alive);
  // No system gives a process this number.
  await writeDiscoveryFile(file, { ...alive, pid: 2 ** 30 });
  expect(await readDiscoveryFile(file)).toBeUndefined();
  writeFileSync(file, '{"url": 3}');
  expect(await readDiscoveryFile(file)).toBeUndefined();
  expect(await readDiscoveryFile(join(folder, 'none.json'))).toBeUndefined();
});
