import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  utimesSync,
} from 'node:fs';
import { join, resolve } from 'node:path';

/** What was compiled before, by all that went into it. */
const CACHE = resolve('node_modules/.cache/tautline-tests');
const KEPT_DAYS = 14;
const ENOUGH = { maxBuffer: 256e6 } as const;

/**
 * Compiles C++ unless the same was compiled before: the compiler and its version, the arguments, and all that the
 * preprocessor makes of the sources, headers included, are the same.
 *
 * @param args flags and sources, without `-o`
 * @throws Error with what the compiler says
 */
export function compileCpp(args: readonly string[], out: string, compiler = process.env.CXX ?? 'g++'): void {
  const preprocess = args.filter((arg) => arg !== '-c');
  const key = [execFileSync(compiler, ['--version']), execFileSync(compiler, ['-E', ...preprocess], ENOUGH)];
  once([compiler, ...args], key, out, (part) => execFileSync(compiler, [...args, '-o', part]));
}

/**
 * The same for any compiler, with the files that it reads.
 * @param compile leaves its outcome at the path that it is given
 */
export function compileOnce(
  words: readonly string[],
  files: readonly string[],
  out: string,
  compile: (part: string) => unknown,
): void {
  once(
    words,
    files.map((file) => readFileSync(file)),
    out,
    compile,
  );
}

function once(
  words: readonly string[],
  inputs: readonly Buffer[],
  out: string,
  compile: (part: string) => unknown,
): void {
  const hash = createHash('sha256').update(JSON.stringify(words));
  for (const input of inputs) hash.update(`${input.length}\n`).update(input);
  const kept = join(CACHE, hash.digest('hex').slice(0, 32));
  if (existsSync(kept)) utimesSync(kept, new Date(), new Date());
  else {
    mkdirSync(CACHE, { recursive: true });
    // Made beside and moved: several files may compile the same at once.
    const part = `${kept}.${process.pid}`;
    compile(part);
    renameSync(part, kept);
    forgetOld();
  }
  copyFileSync(kept, out);
}

function forgetOld(): void {
  const untilMs = Date.now() - KEPT_DAYS * 24 * 3600e3;
  for (const name of readdirSync(CACHE)) {
    const path = join(CACHE, name);
    // Another process may forget it at the same moment.
    if ((statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? untilMs) < untilMs)
      rmSync(path, { force: true });
  }
}
