import { type ChildProcess, spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import { nameTerminal } from './terminal-name.js';

const PROGRAM = 'src/firmware/build/tautline-host-glove';

export interface HostGloveEvent {
  event: string;
  deviceUs: number;
  [field: string]: unknown;
}

/** What `body FINGER` says of a finger, its string and its servo (with --physics). */
export interface Body {
  finger: string;
  curl: number;
  velocity: number;
  sensedCurl: number;
  tensionN: number;
  /** Since the last `intend` or `grasp`. */
  peakCurl: number;
  peakTensionN: number;
  servoDeg: number;
  targetDeg: number;
  /** Where the servo's spool stops an unstretched string. */
  stopCurl: number;
  currentA: number;
  temperatureC: number;
  /** Times that the servo has turned round. */
  reversals: number;
  free: boolean;
  /** Device time of the last command. */
  writtenUs: number;
  /** Device time at which the string no longer held the finger where it was when freed; null: not yet. */
  yieldedUs: number | null;
}

export interface Supply {
  volts: number;
  amperes: number;
  openVolts: number;
  ohms: number;
  hottestC: number;
}

/** The firmware running on this computer, and its side channel (commands: src/firmware/README.md). */
export interface HostGlove {
  /** Path of its pseudo-terminal: a name that no other will have. */
  pty: string;
  /** Monotonic time in microseconds (`process.hrtime`) = clockUs + device time. */
  clockUs: number;
  /** Sends a command; resolves with the reply, rejects if that is an error. */
  command(line: string): Promise<string>;
  /** The same for replies in JSON. */
  ask<T>(line: string): Promise<T>;
  /** Resolves with the next event of that name. */
  nextEvent(name: string): Promise<HostGloveEvent>;
  /** Ends the process; resolves with its exit code. */
  quit(): Promise<number | null>;
  process: ChildProcess;
}

export async function startHostGlove(args: string[] = []): Promise<HostGlove> {
  const child = spawn(PROGRAM, args, { stdio: ['pipe', 'pipe', 'inherit'] });
  const exited = new Promise<number | null>((resolve) => child.once('exit', resolve));
  const replies: { resolve: (line: string) => void; reject: (error: Error) => void }[] = [];
  const waiting: { name: string; resolve: (event: HostGloveEvent) => void }[] = [];

  const first = await new Promise<{ pty: string; clockUs: number }>((resolve, reject) => {
    let started = false;
    child.once('error', reject);
    child.once('exit', (code) => {
      if (!started) reject(new Error(`host glove ended with code ${code} before it had a terminal`));
      for (const reply of replies.splice(0)) reply.reject(new Error('host glove ended'));
    });
    createInterface({ input: child.stdout! }).on('line', (line) => {
      if (!started) {
        started = true;
        resolve(JSON.parse(line) as { pty: string; clockUs: number });
      } else if (line.startsWith('{"event"')) {
        const event = JSON.parse(line) as HostGloveEvent;
        for (const wait of waiting.filter((entry) => entry.name === event.event)) {
          waiting.splice(waiting.indexOf(wait), 1);
          wait.resolve(event);
        }
      } else {
        const reply = replies.shift();
        if (line.startsWith('error')) reply?.reject(new Error(line));
        else reply?.resolve(line);
      }
    });
  });

  const command = (line: string) =>
    new Promise<string>((resolve, reject) => {
      replies.push({ resolve, reject });
      child.stdin!.write(`${line}\n`);
    });
  const name = nameTerminal(first.pty);
  child.once('exit', name.forget);
  return {
    pty: name.path,
    clockUs: first.clockUs,
    process: child,
    command,
    ask: async <T>(line: string) => JSON.parse(await command(line)) as T,
    nextEvent: (name) => new Promise((resolve) => waiting.push({ name, resolve })),
    quit: () => {
      name.forget();
      child.stdin!.end();
      return exited;
    },
  };
}
