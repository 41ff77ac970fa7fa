import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { loadProfile } from '../../src/config/load.js';
import { readTokenFile } from '../../src/config/token-file.js';

const TOKEN = 'correct-horse-battery';
const folder = mkdtempSync(join(tmpdir(), 'tautline-token-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = (name: string, text: string, mode = 0o600): string => {
  const path = join(folder, name);
  writeFileSync(path, text);
  chmodSync(path, mode);
  return path;
};

test('the token is the one line of the file', async () => {
  expect(await readTokenFile(file('good', `${TOKEN}\n`))).toBe(TOKEN);
});

test.skipIf(process.platform === 'win32').each([0o640, 0o604, 0o644, 0o660])(
  'a token that others can read (mode %o) is refused, and not shown',
  async (mode) => {
    const path = file('open', TOKEN, mode);
    const error = await readTokenFile(path).catch((error) => error);
    expect(error).toMatchObject({ code: 'fileDenied', remedy: `Make it yours alone: chmod 600 ${path}` });
    expect(error.line).not.toContain(TOKEN);
  },
);

test.each([
  ['short', 'secret'],
  ['two words', 'correct horse battery'],
  ['two lines', `${TOKEN}\n${TOKEN}`],
  ['empty', ''],
])('what is not a token (%s) is refused, and not shown', async (name, text) => {
  const error = await readTokenFile(file(name, text)).catch((error) => error);
  expect(error.code).toBe('fileInvalid');
  if (text) expect(error.line).not.toContain(text);
});

test('no such file: what to do', async () => {
  await expect(readTokenFile(join(folder, 'none'))).rejects.toMatchObject({ code: 'fileNotFound' });
});

test('a profile names its token file beside itself, and may then be reached from elsewhere', async () => {
  file('stream-token', TOKEN);
  const text = readFileSync('config/simulated.yaml', 'utf8');
  const profile = file('profile.yaml', `${text}\nstream: { host: 0.0.0.0, tokenFile: stream-token }\n`);
  expect((await loadProfile(profile)).stream).toMatchObject({ host: '0.0.0.0', token: TOKEN });
  const both = file('both.yaml', `${text}\nstream: { token: ${TOKEN}, tokenFile: stream-token }\n`);
  await expect(loadProfile(both)).rejects.toThrow(/keep one/);
});
