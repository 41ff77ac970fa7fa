import { chmodSync, mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { readPairings, writePairings } from '../../src/config/pairing-file.js';

const PAIRING = {
  origin: `chrome-extension://${'abcdefghijklmnop'.repeat(2)}`,
  digest: '0123456789abcdef'.repeat(4),
  since: '2026-01-02T03:04:05.000Z',
};
let folder: string;
let file: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-pairings-'));
  file = join(folder, 'inner', 'paired.json');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('keeps pairings for its user alone', () => {
  expect(readPairings(file)).toEqual([]);
  writePairings(file, [PAIRING]);
  expect(readPairings(file)).toEqual([PAIRING]);
  if (process.platform === 'win32') return;
  expect(statSync(file).mode & 0o777).toBe(0o600);
  expect(statSync(join(folder, 'inner')).mode & 0o777).toBe(0o700);
});

it.skipIf(process.platform === 'win32')('is not believed when others can read or write it', () => {
  for (const mode of [0o640, 0o604, 0o620, 0o602]) {
    writePairings(file, [PAIRING]);
    chmodSync(file, mode);
    expect(() => readPairings(file)).toThrow(/by others \(mode 0\d+\)/);
  }
  // Writing again makes it private.
  writePairings(file, [PAIRING]);
  expect(readPairings(file)).toEqual([PAIRING]);
});

it('says so when it holds something else', () => {
  const list = (change: object) => JSON.stringify({ pairings: [{ ...PAIRING, ...change }] });
  const broken = [
    '',
    '[]',
    '{"pairings":{}}',
    '{"pairings":[null]}',
    list({ origin: 'https://evil.example' }),
    list({ origin: `${PAIRING.origin}/` }),
    list({ digest: PAIRING.digest.slice(1) }),
    list({ since: 'yesterday' }),
    `${list({})}${' '.repeat(70_000)}`,
  ];
  for (const text of broken) {
    writePairings(file, []);
    writeFileSync(file, text);
    expect(() => readPairings(file), text).toThrow('this is no list of pairings');
  }
});
