import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { openLogFile } from '../../src/install/log-file.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-log-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('begins anew when it is full, keeps four files, and loses no line of them', () => {
  const path = join(folder, 'deep', 'tautline.log');
  const log = openLogFile(path, 1000);
  for (let n = 0; n < 200; n++) log.write(`${String(n).padStart(99, '.')}\n`);
  log.close();
  const names = readdirSync(join(folder, 'deep')).sort();
  expect(names).toEqual(['tautline.log', 'tautline.log.1', 'tautline.log.2', 'tautline.log.3']);
  for (const name of names) expect(statSync(join(folder, 'deep', name)).size).toBeLessThanOrEqual(1000);
  const all = [...names].reverse().flatMap((name) =>
    readFileSync(join(folder, 'deep', name), 'utf8')
      .trim()
      .split('\n'),
  );
  expect(all.map((line) => Number(line.replaceAll('.', '')))).toEqual(
    Array.from({ length: 40 }, (_, i) => 160 + i),
  );
  // Begun again, it goes on at its end.
  const again = openLogFile(path, 1000);
  again.write('x\n');
  again.close();
  expect(readFileSync(join(folder, 'deep', 'tautline.log'), 'utf8')).toBe('x\n');
});

it('says in one line when it cannot be written', () => {
  writeFileSync(join(folder, 'file'), '');
  expect(() => openLogFile(join(folder, 'file', 'x.log'))).toThrow(
    /x\.log: the log cannot be written \((EEXIST|ENOTDIR)\)/,
  );
});
