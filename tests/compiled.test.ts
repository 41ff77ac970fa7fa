import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it, onTestFinished } from 'vitest';
import { compileOnce } from './compiled.js';

it('what was compiled is compiled again only for other words or other text', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-compiled-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const [source, out] = [join(folder, 'source'), join(folder, 'out')];
  let compiled = 0;
  const compile = (words: string[], text: string): string => {
    writeFileSync(source, text);
    rmSync(out, { force: true });
    compileOnce([folder, ...words], [source], out, (part) => {
      compiled++;
      writeFileSync(part, `${words} ${text}`);
    });
    return readFileSync(out, 'utf8');
  };
  expect([compile(['-O1'], 'one'), compile(['-O1'], 'one'), compiled]).toEqual(['-O1 one', '-O1 one', 1]);
  expect([compile(['-O1'], 'other'), compiled]).toEqual(['-O1 other', 2]);
  expect([compile(['-O2'], 'other'), compiled]).toEqual(['-O2 other', 3]);
  expect([compile(['-O1'], 'one'), compiled]).toEqual(['-O1 one', 3]);
});

it('what fails leaves nothing that is taken for its outcome', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-compiled-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const source = join(folder, 'source');
  writeFileSync(source, 'wrong');
  const fails = () =>
    compileOnce([folder], [source], join(folder, 'out'), (part) => {
      writeFileSync(part, 'half of it');
      throw new Error('source:1: wrong');
    });
  for (let times = 0; times < 2; times++) expect(fails).toThrow('source:1: wrong');
});
