import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/**
 * The manager's end of sd_notify(3): a Unix datagram socket that prints each message as a line. `systemd-notify` sends
 * a file descriptor after its message and waits until it is closed (BARRIER=1): closing it says that the message was
 * read.
 */
const PEER = `
import os, socket, sys
peer = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
peer.bind(sys.argv[1])
print('listening', flush=True)
while True:
    data, fds, _, _ = socket.recv_fds(peer, 4096, 4)
    for fd in fds: os.close(fd)
    for line in data.decode().split('\\n'):
        if line and line != 'BARRIER=1': print(line, flush=True)
`;

export interface NotifyPeer {
  /** For NOTIFY_SOCKET. */
  readonly socket: string;
  readonly messages: readonly string[];
  /** Resolves when a message has come, or had. */
  heard(message: RegExp, times?: number): Promise<void>;
  close(): Promise<void>;
}

export async function startNotifyPeer(): Promise<NotifyPeer> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-notify-'));
  const socket = join(folder, 'notify');
  const child: ChildProcess = spawn('python3', ['-c', PEER, socket], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const lines: string[] = [];
  const waiting = new Set<() => void>();
  let rest = '';
  child.stdout!.setEncoding('utf8').on('data', (text) => {
    const parts = (rest + text).split('\n');
    rest = parts.pop()!;
    lines.push(...parts);
    for (const look of waiting) look();
  });
  const ended = new Promise<void>((resolve) => child.once('close', () => resolve()));
  const heard = (message: RegExp, times = 1) =>
    new Promise<void>((resolve, reject) => {
      const look = () => {
        if (lines.filter((line) => message.test(line)).length < times) return;
        waiting.delete(look);
        resolve();
      };
      waiting.add(look);
      look();
      void ended.then(() => reject(new Error(`the peer ended; it heard: ${lines.join(', ')}`)));
    });
  await heard(/^listening$/);
  return {
    socket,
    get messages() {
      return lines.slice(1);
    },
    heard,
    async close() {
      child.kill('SIGTERM');
      await ended;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
