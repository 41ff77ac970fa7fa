import { chmodSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import {
  createWearerKey,
  findWearerKey,
  leaveWearerKey,
  WEARER_HEADER,
} from '../../src/stream/wearer-key.js';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-key-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('is long, another one at every start, and proves itself alone', () => {
  const [one, other] = [createWearerKey(), createWearerKey()];
  expect(one.value).toMatch(/^[\w-]{32}$/);
  expect(one.isIn({ [WEARER_HEADER]: one.value })).toBe(true);
  for (const value of [other.value, '', `${one.value} `, one.value.slice(1)]) {
    expect(one.isIn({ [WEARER_HEADER]: value })).toBe(false);
  }
  expect(one.isIn({})).toBe(false);
  expect(one.isIn({ [WEARER_HEADER]: [one.value, one.value] as never })).toBe(false);
});

it('is left for its user alone, by port, and taken away again', () => {
  const [one, other] = [createWearerKey(), createWearerKey()];
  const inner = join(folder, 'tautline');
  const take = leaveWearerKey(one, [inner], 7117)!;
  leaveWearerKey(other, [inner], 7118);
  expect(findWearerKey([inner], 7117)).toBe(one.value);
  expect(findWearerKey([inner], 7118)).toBe(other.value);
  expect(findWearerKey([inner], 7119)).toBeUndefined();
  if (process.platform !== 'win32') {
    expect(statSync(join(inner, 'wearer-7117.key')).mode & 0o777).toBe(0o600);
    expect(statSync(inner).mode & 0o777).toBe(0o700);
  }
  take();
  expect(findWearerKey([inner], 7117)).toBeUndefined();
});

it('takes the place of one that a crashed service left, and leaves that of a later one', () => {
  const [crashed, one, later] = [createWearerKey(), createWearerKey(), createWearerKey()];
  leaveWearerKey(crashed, [folder], 7117);
  // Whatever its mode was: others may have been able to read it.
  chmodSync(join(folder, 'wearer-7117.key'), 0o644);
  const take = leaveWearerKey(one, [folder], 7117)!;
  if (process.platform !== 'win32') {
    expect(statSync(join(folder, 'wearer-7117.key')).mode & 0o777).toBe(0o600);
  }
  leaveWearerKey(later, [folder], 7117);
  take();
  expect(readFileSync(join(folder, 'wearer-7117.key'), 'utf8')).toBe(`${later.value}\n`);
});

it('goes to the next folder where one cannot be written, and to none without complaint', () => {
  const file = join(folder, 'a-file');
  writeFileSync(file, '');
  const second = join(folder, 'second');
  mkdirSync(second);
  const key = createWearerKey();
  expect(leaveWearerKey(key, [join(file, 'no-folder'), second], 80)).toBeDefined();
  expect(findWearerKey([join(file, 'no-folder'), second], 80)).toBe(key.value);
  expect(leaveWearerKey(key, [join(file, 'no-folder')], 80)).toBeUndefined();
  expect(leaveWearerKey(key, [], 80)).toBeUndefined();
});
