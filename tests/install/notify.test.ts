import { pino } from 'pino';
import { afterEach, describe, expect, it, onTestFinished } from 'vitest';
import { createLifeCheck, createNotifier, watchdogMs } from '../../src/install/notify.js';
import { start } from '../commands/cli.js';
import { need } from '../requirements.js';
import { type NotifyPeer, startNotifyPeer } from './notify-peer.js';

if (process.platform === 'linux') need('systemd-notify', 'systemd');

let peer: NotifyPeer | undefined;
afterEach(async () => {
  await peer?.close();
  peer = undefined;
});

const logTo = (lines: string[]) =>
  pino({ level: 'info' }, { write: (line: string) => void lines.push(line) });

describe.runIf(process.platform === 'linux')('what systemd is told', { timeout: 60_000 }, () => {
  it('is nothing when nobody listens', () => {
    expect(createNotifier({ logger: logTo([]), alive: () => true, env: {} })).toBeUndefined();
  });

  it('reaches a real datagram socket; signs of life come only while there is life', async () => {
    peer = await startNotifyPeer();
    let granted = 0;
    let living = true;
    let refused = () => {};
    const dead = new Promise<void>((resolve) => {
      refused = resolve;
    });
    const alive = () => {
      if (living) granted++;
      else refused();
      return living;
    };
    const log: string[] = [];
    const env = { PATH: process.env.PATH, NOTIFY_SOCKET: peer.socket, WATCHDOG_USEC: '400000' };
    const notifier = createNotifier({ logger: logTo(log), alive, env })!;
    notifier.ready('listening on\nws://127.0.0.1:1/stream');
    await peer.heard(/^WATCHDOG=1$/, 2);
    living = false;
    await dead;
    notifier.stopping();
    await peer.heard(/^STOPPING=1$/);
    const { messages } = peer;
    expect(messages.slice(0, 2)).toEqual(['READY=1', 'STATUS=listening on ws://127.0.0.1:1/stream']);
    expect(messages.filter((message) => message === 'WATCHDOG=1')).toHaveLength(granted);
    expect(log.join('')).toContain('poses have stopped');
  });

  it('is not told when the program that tells is missing, and the log says so', async () => {
    const log: string[] = [];
    await new Promise<void>((resolve) => {
      const logger = pino({}, { write: (line: string) => resolve(void log.push(line)) });
      const env = { PATH: '/no/such/folder', NOTIFY_SOCKET: '/no/such/socket' };
      createNotifier({ logger, alive: () => true, env })!.ready('x');
    });
    expect(log.join('')).toContain('systemd cannot be notified');
  });

  it('comes from the service: ready when apps can connect, alive while poses come, stopping on SIGTERM', async () => {
    peer = await startNotifyPeer();
    const service = start(['run', '--listen', '127.0.0.1:0'], undefined, {
      NOTIFY_SOCKET: peer.socket,
      WATCHDOG_USEC: '2000000',
    });
    onTestFinished(() => void service.process.kill());
    await peer.heard(/^READY=1$/);
    expect(await service.said('/stream')).toContain('listening on ws://127.0.0.1:');
    await peer.heard(/^STATUS=listening on ws:\/\/127\.0\.0\.1:\d+\/stream \(1 glove: right, simulated\)$/);
    await peer.heard(/^WATCHDOG=1$/, 2);
    service.process.kill('SIGTERM');
    await peer.heard(/^STOPPING=1$/);
    expect((await service.outcome).code).toBe(0);
  });
});

describe('watchdog', () => {
  it('is fed four times in the time that systemd waits, and only by the process that is meant', () => {
    expect(watchdogMs({ WATCHDOG_USEC: '20000000' }, 7)).toBe(5000);
    expect(watchdogMs({ WATCHDOG_USEC: '20000000', WATCHDOG_PID: '7' }, 7)).toBe(5000);
    expect(watchdogMs({ WATCHDOG_USEC: '20000000', WATCHDOG_PID: '8' }, 7)).toBeUndefined();
    for (const bad of [undefined, '', '0', '-5', 'soon'])
      expect(watchdogMs({ WATCHDOG_USEC: bad }, 7)).toBeUndefined();
  });

  it('takes poses that stay valid without changing for a path that is stuck, and a silent glove for none', () => {
    const left = { frame: { valid: false, timeUs: 0 } };
    const right = { frame: { valid: true, timeUs: 5 } };
    const alive = createLifeCheck([left, right]);
    expect(alive()).toBe(true);
    right.frame.timeUs = 6;
    expect(alive()).toBe(true);
    expect(alive()).toBe(false);
    right.frame = { valid: false, timeUs: 7 };
    expect([alive(), alive()]).toEqual([true, true]);
    left.frame = { valid: true, timeUs: 9 };
    right.frame = { valid: true, timeUs: 8 };
    expect([alive(), alive()]).toEqual([true, false]);
  });
});
