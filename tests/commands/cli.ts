import { type ChildProcess, spawn } from 'node:child_process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const NO_CONFIGURATION = join(tmpdir(), 'tautline-tests-no-configuration');
/** Of the services and commands of tests: where the key is left by which the commands prove themselves. */
export const RUNTIME = join(tmpdir(), 'tautline-tests-runtime');
const CACHE = join(tmpdir(), 'tautline-tests-cache');
export const MAIN = fileURLToPath(new URL('../../dist/main.js', import.meta.url));

export interface Outcome {
  code: number | null;
  stdout: string;
  stderr: string;
}

/** A running command; `outcome` resolves when it has ended. */
export interface Running {
  process: ChildProcess;
  outcome: Promise<Outcome>;
  /** Resolves with all of stdout so far, as soon as it holds the text. */
  said(text: string): Promise<string>;
}

/**
 * Starts a Node program, by default the command line as it is installed.
 * @param options `turned`: with a channel over which its time is turned (tests/end-to-end/turned-program.ts)
 */
export function start(
  args: readonly string[],
  program: readonly string[] = [MAIN],
  env: Record<string, string> = {},
  { turned = false } = {},
): Running {
  const child = spawn(process.execPath, [...program, ...args], {
    // A developer's own profile is none of a test's business.
    env: {
      PATH: process.env.PATH,
      LANG: 'C.UTF-8',
      XDG_CONFIG_HOME: NO_CONFIGURATION,
      XDG_RUNTIME_DIR: RUNTIME,
      XDG_CACHE_HOME: CACHE,
      ...env,
    },
    stdio: ['ignore', 'pipe', 'pipe', ...(turned ? (['ipc'] as const) : [])],
  });
  let stdout = '';
  let stderr = '';
  const outcome = new Promise<Outcome>((resolve) => {
    child.on('close', (code) => resolve({ code, stdout, stderr }));
  });
  child.stdout!.setEncoding('utf8').on('data', (text) => {
    stdout += text;
  });
  child.stderr!.setEncoding('utf8').on('data', (text) => {
    stderr += text;
  });
  const said = (text: string) =>
    new Promise<string>((resolve, reject) => {
      const look = () => stdout.includes(text) && resolve(stdout);
      child.stdout!.on('data', look);
      look();
      void outcome.then(({ code }) =>
        reject(new Error(`ended with ${code} before saying ${text}: ${stderr}`)),
      );
    });
  return { process: child, outcome, said };
}

export const run = (...args: string[]): Promise<Outcome> => start(args).outcome;
