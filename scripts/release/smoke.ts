import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { WebSocket } from 'ws';

/** Longest that a step may take, on a machine that is busy with other things. */
const PATIENCE_MS = 60_000;

/**
 * The least that a program must do: say its version, start with the simulated glove, give a hand to an app, serve its
 * page, and end when it is told to.
 * @param program what starts it, such as a command, or Node and a file
 * @returns what was seen, a line each
 * @throws Error with one line for the first that is not as it should be
 */
export async function smoke(program: readonly [string, ...string[]], version: string): Promise<string[]> {
  // Profile, sessions, keys and caches of whoever runs this are none of its business.
  const home = mkdtempSync(join(tmpdir(), 'tautline-smoke-'));
  const started: ChildProcess[] = [];
  const start = (...args: string[]): ChildProcess => {
    const child = spawn(program[0], [...program.slice(1), ...args], {
      env: { ...process.env, ...homeVariables(home) },
      stdio: ['ignore', 'pipe', 'inherit'],
      // A command of npm's is a batch file there.
      shell: program[0].endsWith('.cmd'),
    });
    started.push(child);
    return child;
  };
  try {
    const said = await outputOf(start('--version'));
    if (said.trim() !== version) throw new Error(`--version says ${said.trim()} instead of ${version}.`);

    const service = start('run', '--listen', '127.0.0.1:0');
    const ended = once(service, 'exit');
    const port = await within('listening', portOf(service));
    const joints = await within('a hand on the stream', firstHand(port));
    if (joints !== 26) throw new Error(`the hand on the stream has ${joints} joints instead of 26.`);
    const page = await fetch(`http://127.0.0.1:${port}/`);
    if (!page.ok) throw new Error(`the page is answered by ${page.status}.`);
    service.kill('SIGTERM');
    const [code] = await within('ending', ended);
    // Windows has no signals: there it was ended, not told.
    if (code !== 0 && process.platform !== 'win32') throw new Error(`told to end, it ended with ${code}.`);
    return [
      `tautline --version: ${version}`,
      `a hand of ${joints} joints on the stream`,
      'the page',
      'ended when told to',
    ];
  } finally {
    for (const child of started) if (child.exitCode === null) child.kill('SIGKILL');
    rmSync(home, { recursive: true, force: true });
  }
}

const homeVariables = (home: string): NodeJS.ProcessEnv => ({
  HOME: home,
  XDG_CONFIG_HOME: join(home, 'config'),
  XDG_DATA_HOME: join(home, 'data'),
  XDG_STATE_HOME: join(home, 'state'),
  XDG_RUNTIME_DIR: join(home, 'run'),
  XDG_CACHE_HOME: join(home, 'cache'),
  APPDATA: join(home, 'config'),
  LOCALAPPDATA: join(home, 'data'),
});

async function outputOf(child: ChildProcess): Promise<string> {
  let text = '';
  child.stdout!.setEncoding('utf8').on('data', (part: string) => {
    text += part;
  });
  await within('the command', once(child, 'close'));
  return text;
}

function portOf(service: ChildProcess): Promise<number> {
  return new Promise((resolve, reject) => {
    let text = '';
    service.stdout!.setEncoding('utf8').on('data', (part: string) => {
      text += part;
      const port = /ws:\/\/[^/]*:(\d+)\/stream/.exec(text)?.[1];
      if (port !== undefined) resolve(Number(port));
    });
    service.once('error', reject);
    service.once('exit', (code) => reject(new Error(`it ended with ${code} before it was listening.`)));
  });
}

/** @returns how many joints the first hand has that is there */
async function firstHand(port: number): Promise<number> {
  const socket = new WebSocket(`ws://127.0.0.1:${port}/stream`, 'tautline.json.v1');
  try {
    await once(socket, 'open');
    socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints'] }));
    for await (const [data] of events(socket)) {
      const message = JSON.parse(String(data)) as { type: string; valid?: boolean; poses?: unknown[] };
      if (message.type === 'joints' && message.valid) return message.poses?.length ?? 0;
    }
    throw new Error('the stream ended before a hand came.');
  } finally {
    socket.terminate();
  }
}

async function* events(socket: WebSocket): AsyncGenerator<unknown[]> {
  for (;;) yield await once(socket, 'message');
}

async function within<T>(what: string, done: Promise<T>): Promise<T> {
  const patience = new AbortController();
  const late = pause(PATIENCE_MS, undefined, { signal: patience.signal }).then(() => {
    throw new Error(`${what} took more than ${PATIENCE_MS / 1000} s.`);
  });
  late.catch(() => {});
  try {
    return await Promise.race([done, late]);
  } finally {
    patience.abort();
  }
}
