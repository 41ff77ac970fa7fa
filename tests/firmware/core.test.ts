import { execFileSync, spawnSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';

const CORE = 'src/firmware/core';
const CXX = process.env.CXX ?? 'g++';

/** What the compiler has to say; empty when it is content. */
function syntaxCheck(args: string[]): string {
  const run = spawnSync(CXX, ['-fsyntax-only', '-std=c++11', ...args], { encoding: 'utf8' });
  return run.stdout + run.stderr;
}

test('make test passes', () => {
  const output = execFileSync('make', ['--silent', '-C', 'src/firmware/host', 'test'], { encoding: 'utf8' });
  expect(Number(/^(\d+) checks, 0 failed$/m.exec(output)?.[1])).toBeGreaterThan(500);
});

test('the core compiles without a warning, without exceptions, type information and heap', () => {
  const sources = readdirSync(CORE).filter((name) => name.endsWith('.cpp'));
  expect(sources.length).toBeGreaterThan(0);
  const warnings = ['-Wall', '-Wextra', '-Wconversion', '-Wshadow', '-pedantic', '-Werror'];
  for (const name of sources) {
    expect(syntaxCheck([...warnings, '-fno-exceptions', '-fno-rtti', `${CORE}/${name}`])).toBe('');
  }
});

test('the core includes nothing but stdint.h and itself, and uses neither floats, 64 bits nor new', () => {
  const names = readdirSync(CORE).filter((name) => /\.(h|cpp)$/.test(name));
  for (const name of names) {
    const code = readFileSync(`${CORE}/${name}`, 'utf8').replace(/\/\/.*/g, '');
    for (const [, included] of code.matchAll(/#include\s+[<"](.*)[>"]/g)) {
      expect(['stdint.h', ...names], `${name} includes ${included}`).toContain(included);
    }
    expect(code, name).not.toMatch(/\b(float|double|u?int64_t|long long|new|malloc|virtual)\b/);
  }
});
