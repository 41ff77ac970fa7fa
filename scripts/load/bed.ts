import { type ChildProcess, execFileSync, fork, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface, type Interface } from 'node:readline';
import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import type { ReaderReport, ToReaders } from './reader-messages.js';

/** Ten channels: a curl and a splay of each finger. */
const CHANNELS = FINGERS.flatMap((finger) => [`${finger}.curl`, `${finger}.splay`]);
/** What a profile says of a glove that stops every finger. */
export const STOPS = [
  '    actuators:',
  ...FINGERS.map((finger) => `      - { role: ${finger}, kind: stringStop }`),
];
const GLOVE = 'src/firmware/build/tautline-host-glove';
/** Linux counts CPU time in hundredths of a second for every program (USER_HZ). */
const TICK_US = 10_000;

/** A glove of our firmware behind a pseudo-terminal. */
export interface HostGlove {
  hand: HandSide;
  pty: string;
  /** CLOCK_MONOTONIC when the device clock was 0, µs. */
  clockUs: number;
  /** What it says from then on: its events, such as `held` and `released`, one JSON a line. */
  lines: Interface;
}

/** Real processes on this computer: gloves, a service, its readers. All of them end with `close`. */
export class Bed {
  readonly folder = mkdtempSync(join(tmpdir(), 'tautline-bed-'));
  readonly #processes: ChildProcess[] = [];

  /**
   * Starts a program and resolves with the first line of its output that matches, and all lines from then on.
   * @param log takes each line of its stderr, which else goes to this program's
   */
  start(
    command: string,
    args: string[],
    ready: RegExp,
    log?: (line: string) => void,
  ): Promise<{ match: RegExpMatchArray; lines: Interface; child: ChildProcess }> {
    const child = spawn(command, args, { stdio: ['pipe', 'pipe', log ? 'pipe' : 'inherit'] });
    this.#processes.push(child);
    if (log) createInterface({ input: child.stderr! }).on('line', log);
    const lines = createInterface({ input: child.stdout! });
    return new Promise((resolve, reject) => {
      child.once('exit', (code) => reject(new Error(`${command} ended with ${code} before it was ready`)));
      const onLine = (line: string): void => {
        const match = line.match(ready);
        if (!match) return;
        lines.off('line', onLine);
        resolve({ match, lines, child });
      };
      lines.on('line', onLine);
    });
  }

  async glove(hand: HandSide, rateHz: number): Promise<HostGlove> {
    if (!existsSync(GLOVE))
      execFileSync('make', ['--silent', '-C', 'src/firmware/host'], { stdio: 'inherit' });
    const args = ['--hand', hand, '--rate', String(rateHz), '--channels', CHANNELS.join(',')];
    const { match, lines } = await this.start(GLOVE, args, /^\{"pty".*\}$/);
    const { pty, clockUs } = JSON.parse(match[0]) as { pty: string; clockUs: number };
    return { hand, pty, clockUs, lines };
  }

  /**
   * The service that `npm start` and the system start, on these gloves.
   * @param more, ofEach further lines of the profile: at its end, and of each glove
   */
  async service(
    gloves: readonly Pick<HostGlove, 'hand' | 'pty'>[],
    more: readonly string[] = [],
    ofEach: readonly string[] = [],
  ): Promise<ServiceProcess> {
    const file = this.profile(gloves, more, ofEach);
    const { match, child } = await this.start(
      process.execPath,
      ['dist/main.js', 'run', '--profile', file],
      /(ws:\/\/\S+)/,
    );
    return { url: match[1], pid: child.pid! };
  }

  /**
   * @param more, ofEach as for `service`
   * @returns its file
   */
  profile(
    gloves: readonly Pick<HostGlove, 'hand' | 'pty'>[],
    more: readonly string[] = [],
    ofEach: readonly string[] = [],
  ): string {
    const file = join(this.folder, `profile${this.#processes.length}.yaml`);
    const channels = CHANNELS.map((role) => `      - { role: ${role}, open: 400, closed: 3600 }`);
    const each = gloves.flatMap(({ hand, pty }) => [
      `  - name: ${hand} bench`,
      `    hand: ${hand}`,
      `    link: { kind: serial, path: ${pty} }`,
      '    channels:',
      ...channels,
      ...ofEach,
    ]);
    const lines = ['profile: 1', 'gloves:', ...each, 'stream: { port: 0, maxClients: 100 }', ...more, ''];
    writeFileSync(file, lines.join('\n'));
    return file;
  }

  readers(): Readers {
    const child = fork('build/scripts/load/readers.js', { execArgv: [] });
    this.#processes.push(child);
    return {
      async tell(message) {
        const answered = once(child, 'message');
        child.send(message);
        await answered;
      },
      async report() {
        const answered = once(child, 'message');
        child.send({ kind: 'report' } satisfies ToReaders);
        return (await answered)[0] as ReaderReport;
      },
    };
  }

  async close(): Promise<void> {
    const ended = this.#processes
      .splice(0)
      .filter(({ exitCode, signalCode }) => exitCode === null && signalCode === null)
      .map((child) => {
        const exit = once(child, 'exit');
        child.kill('SIGKILL');
        return exit;
      });
    await Promise.all(ended);
    rmSync(this.folder, { recursive: true, force: true });
  }
}

export interface ServiceProcess {
  url: string;
  pid: number;
}

export interface Readers {
  /** Resolves when it is done. */
  tell(message: ToReaders): Promise<void>;
  report(): Promise<ReaderReport>;
}

export interface Cost {
  cpuUs: number;
  residentMb: number;
}

/** What a process has used so far, all its threads included; from Linux's /proc. */
export function costOf(pid: number): Cost {
  return readCost(readFileSync(`/proc/${pid}/stat`, 'latin1'), readFileSync(`/proc/${pid}/status`, 'latin1'));
}

/** @param stat, status texts of the files of these names under /proc/PID: see proc(5) */
export function readCost(stat: string, status: string): Cost {
  // The program's name, in brackets, may hold anything; utime and stime are fields 14 and 15.
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  const ticks = Number(fields[11]) + Number(fields[12]);
  const residentKb = Number(status.match(/^VmRSS:\s+(\d+) kB/m)?.[1]);
  return { cpuUs: ticks * TICK_US, residentMb: residentKb / 1024 };
}

export const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));
