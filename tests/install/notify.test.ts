import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { start } from '../commands/cli.js';
import { need } from '../requirements.js';

/** The other end of NOTIFY_SOCKET, as systemd would hold it: prints each datagram on a line. */
const PEER = `
import socket, sys
s = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
s.bind(sys.argv[1])
print('bound', flush=True)
while True:
    print(s.recv(4096).decode().replace(chr(10), ' | '), flush=True)
`;

it.runIf(process.platform === 'linux')(
  'tells systemd when it is ready, that it lives, and that it stops',
  async () => {
    need('systemd-notify', 'systemd');
    const folder = mkdtempSync(join(tmpdir(), 'tautline-notify-'));
    const socket = join(folder, 'notify');
    const peer = spawn('python3', ['-c', PEER, socket], { stdio: ['ignore', 'pipe', 'inherit'] });
    let said = '';
    peer.stdout.setEncoding('utf8').on('data', (text) => {
      said += text;
    });
    const heard = async (what: RegExp): Promise<void> => {
      while (!what.test(said)) await new Promise((resolve) => peer.stdout.once('data', resolve));
    };
    try {
      await heard(/bound/);
      const service = start(['run', '--listen', '127.0.0.1:0'], undefined, {
        NOTIFY_SOCKET: socket,
        WATCHDOG_USEC: '300000',
      });
      await heard(/READY=1/);
      await heard(/STATUS=listening on ws:/);
      await heard(/(?:WATCHDOG=1[\s\S]*){3}/);
      service.process.kill('SIGTERM');
      await heard(/STOPPING=1/);
      expect((await service.outcome).code).toBe(0);
    } finally {
      peer.kill();
      rmSync(folder, { recursive: true, force: true });
    }
  },
  30_000,
);
