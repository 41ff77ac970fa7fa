import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it, onTestFinished } from 'vitest';
import { openLogFile } from '../../src/log/file.js';
import { start } from '../commands/cli.js';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-log-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

describe('log file', () => {
  it('never grows beyond its bound; the newest lines are there, in order', () => {
    const path = join(folder, 'logs', 'a.log');
    const log = openLogFile({ path, maxBytes: 100, keep: 2 });
    const line = (n: number) => `${String(n).padStart(19, '0')}\n`;
    for (let n = 0; n < 57; n++) log.write(line(n));
    expect(readdirSync(join(folder, 'logs')).sort()).toEqual(['a.log', 'a.log.1', 'a.log.2']);
    const text = ['a.log.2', 'a.log.1', 'a.log']
      .map((name) => readFileSync(join(folder, 'logs', name), 'utf8'))
      .join('');
    expect(text).toBe(Array.from({ length: 12 }, (_, i) => line(45 + i)).join(''));
    if (process.platform !== 'win32') expect(statSync(path).mode & 0o777).toBe(0o600);
  });

  it('goes on in the file that is there, and keeps a line that is longer than the bound', () => {
    const path = join(folder, 'a.log');
    openLogFile({ path, maxBytes: 20 }).write('first\n');
    const log = openLogFile({ path, maxBytes: 20 });
    log.write('second\n');
    log.write(`${'long '.repeat(10)}\n`);
    expect(readFileSync(`${path}.1`, 'utf8')).toBe('first\nsecond\n');
    expect(readFileSync(path, 'utf8')).toBe(`${'long '.repeat(10)}\n`);
  });

  it('survives what it cannot write, and says how much that was', () => {
    const path = join(folder, 'a.log');
    const log = openLogFile({ path, maxBytes: 10, keep: 1 });
    log.write('12345678\n');
    // Nothing can be put aside to where a folder is that is not empty.
    mkdirSync(join(`${path}.1`, 'x'), { recursive: true });
    log.write('lost 1\n');
    log.write('lost 2\n');
    rmSync(`${path}.1`, { recursive: true });
    log.write('back\n');
    expect(readFileSync(path, 'utf8')).toMatch(/"msg":"2 lines of this log could not be written"\}\nback\n$/);
  });

  it('refuses at the start what it may not write, in one line', () => {
    mkdirSync(join(folder, 'a.log'));
    expect(() => openLogFile({ path: join(folder, 'a.log') })).toThrow(
      /a\.log: the log cannot be written \(EISDIR\)/,
    );
  });

  it('is where the service logs to', async () => {
    const path = join(folder, 'service.log');
    const service = start(['run', '--listen', '127.0.0.1:0', '--log-level', 'info', '--log-file', path]);
    onTestFinished(() => void service.process.kill());
    await service.said('/stream');
    service.process.kill('SIGTERM');
    expect(await service.outcome).toMatchObject({ code: 0, stderr: '' });
    expect(existsSync(path)).toBe(true);
    const lines = readFileSync(path, 'utf8')
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line));
    expect(lines.at(-1)).toMatchObject({ msg: 'SIGTERM: ending' });
  });
});
