import { existsSync, mkdtempSync, readFileSync, realpathSync, rmSync } from 'node:fs';
import { connect } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, expect, test } from 'vitest';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { type HostGlove, startHostGlove } from './host-glove.js';
import { Host } from './host-port.js';

interface ServoReply {
  free: boolean;
  stop: number;
  effort: number;
  us: number;
  curl: number;
}
interface StatsReply {
  deviceUs: number;
  clockUs: number;
  badCrc: number;
  watchdogTrips: number;
  framesDropped: number;
  framesReceived: number;
  bytesReceived: number;
  framesSent: number;
  rateHz: number;
}
const cleanups: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup();
});

async function start(args: string[] = []): Promise<{ glove: HostGlove; host: Host }> {
  const glove = await startHostGlove(args);
  cleanups.push(() => glove.quit());
  const host = await Host.open(glove.pty);
  cleanups.push(() => host.close());
  return { glove, host };
}

function resist(host: Host, validForMs: number, actuator: number, stop: number, effort: number): void {
  const stops = new Uint16Array(5).fill(STOP_FREE);
  const efforts = new Uint8Array(5);
  stops[actuator] = stop;
  efforts[actuator] = effort;
  void host.send(host.codec.resist(validForMs, stops, efforts, 5));
}

test('says hello when asked, and samples at its rate', async () => {
  const { host } = await start([
    '--hand',
    'left',
    '--id',
    '0123456789abcdef',
    '--rate',
    '200',
    '--bits',
    '10',
  ]);
  const asked = host.next('hello');
  void host.send(host.codec.askHello());
  const hello = await asked;
  expect(hello).toMatchObject({
    protocol: 1,
    hand: 'left',
    deviceId: '0123456789abcdef',
    sampleRateHz: 200,
  });
  expect(hello.channels).toHaveLength(12);
  expect(hello.channels[1]).toEqual({ role: 'index.curl', bits: 10 });
  expect(hello.actuators[4]).toEqual({ role: 'little', kind: 'stringStop' });

  const first = await host.next('sample');
  let count = 0;
  const tenth = await host.next('sample', () => ++count === 10);
  // Device time: ten periods of 5 ms, give or take what the machine makes of one.
  expect(tenth.deviceTimeUs - first.deviceTimeUs).toBeGreaterThan(45_000);
  expect(host.codec.counters).toMatchObject({ badCrc: 0, malformed: 0, unknownType: 0, lost: 0 });
});

test('the first line relates the device clock to the monotonic clock of this computer', async () => {
  const before = process.hrtime.bigint();
  const { glove } = await start(['--clock', '5000000']);
  const stats = await glove.ask<StatsReply>('stats');
  const after = process.hrtime.bigint();
  expect(stats.clockUs).toBe(glove.clockUs);
  const monotonicUs = glove.clockUs + stats.deviceUs;
  expect(monotonicUs).toBeGreaterThan(Number(before / 1000n));
  expect(monotonicUs).toBeLessThanOrEqual(Number(after / 1000n) + 1);
});

test('the side channel moves fingers, presses buttons and sets the supply', async () => {
  const { glove, host } = await start(['--noise', '0']);
  expect((await host.next('sample')).counts[1]).toBe(491);
  await glove.command('set index.curl 1');
  await glove.command('button 2 1');
  const closed = await host.next('sample', (sample) => sample.buttons === 4);
  expect(closed.counts[1]).toBe(3604);
  await glove.command('battery 3250');
  await glove.command('temperature 31.5');
  const state = await host.next('state', (s) => s.faults.length > 0 && s.temperatureC !== undefined);
  expect(state).toMatchObject({ batteryMv: 3250, temperatureC: 31.5, faults: ['supplyLow'] });

  await glove.command('fault dead index.curl');
  await glove.command('set index.curl 0');
  await glove.command('button 2 0');
  expect((await host.next('sample', (sample) => sample.buttons === 0)).counts[1]).toBe(3604);

  await expect(glove.command('set knee.curl 1')).rejects.toThrow('no channel knee.curl');
  await expect(glove.command('fly')).rejects.toThrow('unknown command');
});

test('a stop holds the finger, and silence frees it', async () => {
  const { glove, host } = await start(['--noise', '0']);
  await host.next('sample');
  await glove.command('set index.curl 1');
  const held = host.next('sample', (sample) => Math.abs(sample.counts[1]! - (491 + 0.5 * 3113)) < 10);
  const tripped = glove.nextEvent('watchdog');
  const seen = host.next('state', (state) => state.faults.includes('watchdogRelease'));
  const renewing = setInterval(() => resist(host, 1000, 1, 32767, 200), 50);
  cleanups.push(() => clearInterval(renewing));
  await held;
  const servo = await glove.ask<ServoReply>('servo index');
  clearInterval(renewing);
  expect(servo).toMatchObject({ free: false, stop: 32767, effort: 200 });
  expect(servo.curl).toBeCloseTo(0.5, 2);

  // The host says nothing more.
  await tripped;
  expect(await glove.ask<ServoReply>('servo index')).toMatchObject({ free: true, effort: 0 });
  expect(await seen).toMatchObject({ watchdogTrips: 1 });
  await host.next('sample', (sample) => sample.counts[1] === 3604);
});

test('a rate is granted up to the maximum, and the answer says which', async () => {
  const { host } = await start(['--max-rate', '400']);
  const hello = host.next('hello', (h) => h.sampleRateHz !== 250);
  void host.send(host.codec.rate(5000));
  expect((await hello).sampleRateHz).toBe(400);
});

test('damaged and lost frames cost themselves alone', async () => {
  const { glove, host } = await start();
  await host.next('sample');
  await glove.command('corrupt 3');
  await host.next('sample', () => {
    const { badCrc, malformed, oversize } = host.codec.counters;
    return badCrc + malformed + oversize >= 3;
  });
  const lostBefore = host.codec.counters.lost;
  const lost = host.next('sample', () => host.codec.counters.lost > lostBefore);
  await glove.command('drop 2');
  await lost;
});

test('a cut line is silent both ways until it is restored', async () => {
  const { glove, host } = await start();
  await host.next('sample');
  await glove.command('cut');
  const before = await glove.ask<StatsReply>('stats');
  void host.send(host.codec.ping(7));
  let during = before;
  // Until the ping has come in and some samples have gone out, all in vain.
  while (during.bytesReceived === before.bytesReceived || during.framesSent < before.framesSent + 3) {
    during = await glove.ask<StatsReply>('stats');
  }
  expect(during.framesReceived).toBe(before.framesReceived);
  const pong = host.next('pong');
  const sample = host.next('sample', () => host.codec.counters.lost > 0);
  await glove.command('restore');
  void host.send(host.codec.ping(8));
  expect((await pong).token).toBe(8);
  await sample;
});

test('a reset starts the clock again and says hello; a freeze drops samples and counts them', async () => {
  const { glove, host } = await start(['--clock', '4294000000']);
  let count = 0;
  const before = await host.next('sample', () => ++count === 10);
  expect(before.deviceTimeUs).toBeGreaterThanOrEqual(4294036000);
  const hello = host.next('hello');
  await glove.command('reset');
  await hello;
  expect((await host.next('sample')).deviceTimeUs).toBeLessThan(before.deviceTimeUs);

  const thawed = glove.nextEvent('thawed');
  await glove.command('freeze 60');
  await thawed;
  const stats = await glove.ask<StatsReply>('stats');
  expect(stats.framesDropped).toBeGreaterThanOrEqual(12);
  await host.next('sample');
});

test('closing and opening the terminal again loses nothing but what was sent meanwhile', async () => {
  const { glove, host } = await start();
  await host.next('sample');
  const gone = glove.nextEvent('disconnected');
  await host.close();
  await gone;
  const again = await Host.open(glove.pty);
  cleanups.push(() => again.close());
  const hello = again.next('hello');
  void again.send(again.codec.askHello());
  expect((await hello).hand).toBe('right');
});

test('a stable name and a control socket come and go with the process', async () => {
  const directory = mkdtempSync(join(tmpdir(), 'tautline-'));
  cleanups.push(() => rmSync(directory, { recursive: true }));
  const name = join(directory, 'glove');
  const control = join(directory, 'control');
  const glove = await startHostGlove(['--link', name, '--control', control]);
  expect(realpathSync(name)).toBe(realpathSync(glove.pty));
  const reply = await new Promise<string>((resolve, reject) => {
    const socket = connect(control, () => socket.write('set 0 0.25\nget thumb.curl\n'));
    let text = '';
    socket.on('error', reject);
    socket.on('data', (chunk) => {
      text += String(chunk);
      if (text.split('\n').length > 2) {
        socket.destroy();
        resolve(text);
      }
    });
  });
  expect(reply).toMatch(/^ok\n\{"channel":"thumb.curl","wanted":0.2500/);
  expect(await glove.quit()).toBe(0);
  expect(existsSync(name)).toBe(false);
  expect(existsSync(control)).toBe(false);
});

test('nonsense on the command line is refused in one line', async () => {
  await expect(startHostGlove(['--channels', 'knee.curl'])).rejects.toThrow('code 2');
});

test('nobody who still looks for a glove that is gone finds another one', async () => {
  const first = await startHostGlove();
  await first.quit();
  const second = await startHostGlove();
  cleanups.push(() => second.quit());
  // The system has most likely given it the same terminal.
  expect(existsSync(first.pty)).toBe(false);
  expect(existsSync(second.pty)).toBe(true);
});

test.runIf(process.platform === 'linux')(
  'in turned time it takes no processor while nothing is asked of it',
  async () => {
    const glove = await startHostGlove(['--manual-time']);
    cleanups.push(() => glove.quit());
    await glove.command('exchange 50');
    /** In hundredths of a second: fields 14 and 15 of proc_pid_stat(5). */
    const used = () => {
      const fields = readFileSync(`/proc/${glove.process.pid}/stat`, 'utf8').split(') ')[1].split(' ');
      return Number(fields[11]) + Number(fields[12]);
    };
    const before = used();
    await pause(600);
    await glove.command('exchange 50');
    // It took two thirds of a processor.
    expect(used() - before).toBeLessThan(20);
  },
);
