import { type ChildProcess, spawn } from 'node:child_process';
import { createInterface } from 'node:readline';

/** The process of peer.ts: a glove in range of an adapter, on the bus at `bus`. */
export interface Peer {
  /** Sends a command of peer.ts; resolves with its reply. */
  ask<T = unknown>(line: string): Promise<T>;
  stats(): Promise<PeerStats>;
  /** As if the whole Bluetooth service crashed. */
  kill(): Promise<void>;
  quit(): Promise<void>;
  process: ChildProcess;
}

export interface PeerStats {
  connects: number;
  subscriptions: number;
  notifications: number;
  writes: number;
  connected: boolean;
}

export async function startPeer(bus: string, args: string[] = []): Promise<Peer> {
  const child = spawn(process.execPath, ['--import', 'tsx', 'tests/link/bluez-peer/peer.ts', ...args], {
    stdio: ['pipe', 'pipe', 'inherit'],
    env: { ...process.env, DBUS_SYSTEM_BUS_ADDRESS: bus },
  });
  const exited = new Promise<void>((resolve) => child.once('exit', () => resolve()));
  const replies: ((line: string) => void)[] = [];
  const ready = new Promise<string>((resolve, reject) => {
    replies.push(resolve);
    child.once('exit', (code) => reject(new Error(`the Bluetooth peer ended with code ${code}`)));
  });
  createInterface({ input: child.stdout! }).on('line', (line) => replies.shift()?.(line));
  await ready;
  const ask = <T>(line: string): Promise<T> =>
    new Promise((resolve) => {
      replies.push((reply) => resolve(JSON.parse(reply) as T));
      child.stdin!.write(`${line}\n`);
    });
  return {
    ask,
    stats: () => ask<PeerStats>('stats'),
    async kill() {
      child.kill('SIGKILL');
      await exited;
    },
    async quit() {
      child.stdin!.end();
      await exited;
    },
    process: child,
  };
}
