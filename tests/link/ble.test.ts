import { readdirSync, readFileSync } from 'node:fs';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { nowUs } from '../../src/clock.js';
import { explainLoadFailure, explainNoRadio } from '../../src/link/ble-errors.js';
import { type BleOptions, blePort } from '../../src/link/ble-port.js';
import { keepLink } from '../../src/link/keeper.js';
import type { Port } from '../../src/link/link.js';
import { type PrivateBus, startBus } from './bluez-peer/bus.js';
import { type Peer, startPeer } from './bluez-peer/index.js';

/** Both clocks are read one after the other, 50 times: the largest difference had the shortest pause in between. */
const systemAheadUs = Math.max(
  ...Array.from({ length: 50 }, () => Number(process.hrtime.bigint()) / 1000 - nowUs()),
);

const CLOCK_ERROR_US = 100;

/** Children of this process that hold a radio. */
function radioProcesses(): number[] {
  return readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name))
    .map(Number)
    .filter((pid) => {
      try {
        const [, state, parent] = /\) (\w) (\d+)/.exec(readFileSync(`/proc/${pid}/stat`, 'utf8')) ?? [];
        const command = readFileSync(`/proc/${pid}/cmdline`, 'utf8');
        return Number(parent) === process.pid && state !== 'Z' && command.includes('ble-process');
      } catch {
        // It ended while we looked.
        return false;
      }
    });
}

const NAME = 'Tautline right';
const ADDRESS = '02:00:00:00:00:01';
const program = 'dist/link/ble-process.js';

let bus: PrivateBus;
let peer: Peer;
const ports: Port[] = [];

// D-Bus and BlueZ are Linux'; elsewhere the same code runs over another native part.
const onLinux = describe.runIf(process.platform === 'linux');

beforeAll(async () => {
  if (process.platform !== 'linux') return;
  bus = await startBus();
  process.env.DBUS_SYSTEM_BUS_ADDRESS = bus.address;
  peer = await startPeer(bus.address);
});
afterEach(async () => {
  await Promise.all(ports.splice(0).map((port) => port.close()));
});
afterAll(async () => {
  await peer?.quit();
  await bus?.stop();
});

/** An opened port and all that it says. */
async function open(options: Partial<BleOptions> = {}) {
  const bytes: number[] = [];
  const arrivals: { bytes: Buffer; arrivalUs: number; handedUs: number }[] = [];
  const ends: Error[] = [];
  let changed = (): void => {};
  const port = await blePort({ name: NAME, program, scanS: 5, ...options })({
    bytes(chunk, arrivalUs) {
      bytes.push(...chunk);
      arrivals.push({ bytes: Buffer.from(chunk), arrivalUs, handedUs: nowUs() });
      changed();
    },
    ended(error) {
      ends.push(error);
      changed();
    },
  });
  ports.push(port);
  /** Resolves as soon as it is so; the test's time limit ends it. */
  const until = async (isSo: () => boolean): Promise<void> => {
    while (!isSo()) await new Promise<void>((resolve) => (changed = resolve));
  };
  return { port, bytes, arrivals, ends, until };
}

const failure = (options: Partial<BleOptions>): Promise<unknown> =>
  open(options).then(
    () => expect.fail('it opened'),
    (error: unknown) => error,
  );

async function writtenUntil(hex: string): Promise<void> {
  let all = '';
  while (all.length < hex.length) all += await peer.ask<string>('written');
  expect(all).toBe(hex);
}

onLinux('a Bluetooth LE port', () => {
  it('connects by name, hands bytes up and takes bytes down, in packets of at most what fits', async () => {
    const { port, bytes, until } = await open();
    expect(port.address).toBe(`Bluetooth ${NAME} (${ADDRESS}, 244 bytes a packet)`);
    await peer.ask('emit 00ff10');
    await peer.ask('emit 01');
    await until(() => bytes.length === 4);
    expect(bytes).toEqual([0x00, 0xff, 0x10, 0x01]);

    // A view into a larger buffer, longer than one packet.
    const large = Uint8Array.from({ length: 600 }, (_, i) => i);
    expect(port.write(large.subarray(100, 400))).toBe(true);
    await writtenUntil(Buffer.from(large.subarray(100, 400)).toString('hex'));
    await port.close();
    expect((await peer.stats()).connected).toBe(false);
  });

  it('connects by address', async () => {
    const { port } = await open({ address: ADDRESS.toLowerCase(), name: 'something else' });
    expect(port.address).toContain(ADDRESS);
  });

  it('loses nothing of 200 notifications a second, and stamps them when they came', async () => {
    const { arrivals, until } = await open();
    await peer.ask('train 300 200');
    await until(() => arrivals.length >= 300);
    expect(arrivals.map(({ bytes }) => bytes.readUInt32LE(0))).toEqual(
      Array.from({ length: 300 }, (_, i) => i),
    );
    for (const { bytes, arrivalUs, handedUs } of arrivals) {
      const sentUs = bytes.readDoubleLE(4) - systemAheadUs;
      expect(arrivalUs).toBeGreaterThan(sentUs - CLOCK_ERROR_US);
      expect(arrivalUs).toBeLessThan(handedUs + CLOCK_ERROR_US);
    }
  });

  it('throws stale commands away while the stack is slow, but never a release', async () => {
    const { port } = await open();
    await peer.ask('write-delay 300');
    expect(port.write(Uint8Array.of(1))).toBe(true);
    expect(port.write(Uint8Array.of(2))).toBe(true);
    expect(port.write(Uint8Array.of(3))).toBe(false);
    expect(port.write(Uint8Array.of(4), true)).toBe(true);
    await writtenUntil('0104');
    await peer.ask('write-delay 0');
  });

  it('tells that the glove is gone, once', async () => {
    const { port, ends, until } = await open();
    await peer.ask('disconnect');
    await until(() => ends.length > 0);
    expect(ends).toEqual([
      expect.objectContaining({
        code: 'portFailed',
        message: `"${NAME}" is gone: out of range, switched off, or out of battery.`,
      }),
    ]);
    expect(port.write(Uint8Array.of(1))).toBe(false);
    await port.close();
    expect(ends).toHaveLength(1);
  });

  it('survives a crash of the library, and finds the glove again that the system still holds connected', async () => {
    const { ends, until } = await open();
    const [pid] = radioProcesses();
    process.kill(pid!, 'SIGKILL');
    await until(() => ends.length > 0);
    expect(ends).toEqual([
      expect.objectContaining({ code: 'portFailed', message: expect.stringContaining('SIGKILL') }),
    ]);
    expect((await peer.stats()).connected).toBe(true);
    // What the sketch does with a host that says nothing.
    await peer.ask('patience 0');
    while ((await peer.stats()).connected) await new Promise(setImmediate);
    await peer.ask('patience Infinity');
    const again = await open();
    await peer.ask('emit 07');
    await again.until(() => again.bytes.length > 0);
    expect(again.bytes).toEqual([7]);
  });

  it('can be closed while the stack hangs', async () => {
    const { port } = await open();
    await peer.ask('write-delay 8000');
    port.write(Uint8Array.of(1));
    await writtenUntil('01');
    await port.close();
    expect(radioProcesses()).toEqual([]);
    await peer.ask('write-delay 0');
    await peer.ask('disconnect');
  });

  it('says what is missing', async () => {
    expect(await failure({ name: 'nobody', scanS: 0.3 })).toMatchObject({
      code: 'portMissing',
      message: '"nobody" was not found by Bluetooth.',
      remedy: expect.stringContaining('Switch it on'),
    });
    // It would look again; here nobody asks it to.
    for (const pid of radioProcesses()) process.kill(pid, 'SIGKILL');
    await peer.ask('power off');
    expect(await failure({})).toMatchObject({
      code: 'bluetoothUnavailable',
      message: 'Bluetooth is switched off.',
      remedy: expect.stringContaining('bluetoothctl power on'),
    });
    await peer.ask('power on');
    const empty = await startBus();
    process.env.DBUS_SYSTEM_BUS_ADDRESS = empty.address;
    const noService = await failure({});
    process.env.DBUS_SYSTEM_BUS_ADDRESS = 'unix:path=/nonexistent/socket';
    const noBus = await failure({});
    process.env.DBUS_SYSTEM_BUS_ADDRESS = bus.address;
    await empty.stop();
    for (const error of [noService, noBus]) {
      expect(error).toMatchObject({
        code: 'bluetoothUnavailable',
        message: 'No Bluetooth adapter can be used.',
        remedy: expect.stringContaining('systemctl start bluetooth'),
      });
    }
  });

  it('looks again in the same process, which ends at a fault', async () => {
    const open = blePort({ name: 'nobody', program, scanS: 0.3 });
    const look = () => open({ bytes: () => {}, ended: () => {} }).catch((error: unknown) => error);
    expect(await look()).toMatchObject({ code: 'portMissing' });
    const first = radioProcesses();
    expect(first).toHaveLength(1);
    expect(await look()).toMatchObject({ code: 'portMissing' });
    expect(radioProcesses()).toEqual(first);
    await peer.ask('power off');
    expect(await look()).toMatchObject({ code: 'bluetoothUnavailable' });
    expect(radioProcesses()).toEqual([]);
    await peer.ask('power on');
  });

  it('stops looking when nobody wants the glove any more', async () => {
    const link = keepLink(blePort({ name: 'nobody', program, scanS: 600 }), { address: 'Bluetooth nobody' });
    link.open({ bytes: () => {}, status: () => {} });
    while (radioProcesses().length === 0) await new Promise(setImmediate);
    await link.close();
    expect(radioProcesses()).toEqual([]);
  });
});

onLinux('a Bluetooth LE link', () => {
  it('comes back 20 times, and then hears every notification once and holds nothing of the past', async () => {
    let live = 0;
    let received = '';
    let changed = (): void => {};
    const until = async (isSo: () => boolean): Promise<void> => {
      while (!isSo()) await new Promise<void>((resolve) => (changed = resolve));
    };
    const link = keepLink(blePort({ name: NAME, program }), {
      address: NAME,
      silentMs: 60_000,
      firstRetryMs: 1,
    });
    link.open({
      bytes(chunk) {
        received += Buffer.from(chunk).toString('hex');
        changed();
      },
      status({ state }) {
        if (state === 'live') live++;
        changed();
      },
    });
    await until(() => live === 1);
    const before = await peer.stats();
    const handles = process.getActiveResourcesInfo().sort();
    for (let cycle = 1; cycle <= 20; cycle++) {
      await peer.ask('disconnect');
      await until(() => live === cycle + 1);
      const hex = cycle.toString(16).padStart(2, '0');
      received = '';
      await peer.ask(`emit ${hex}`);
      await until(() => received !== '');
      expect(received).toBe(hex);
    }
    expect(radioProcesses()).toHaveLength(1);
    expect(process.getActiveResourcesInfo().sort()).toEqual(handles);
    const after = await peer.stats();
    expect(after.connects - before.connects).toBe(20);
    expect(after.subscriptions - before.subscriptions).toBe(20);
    await link.close();
    expect(radioProcesses()).toEqual([]);
  }, 120_000);
});

describe('what the library says when it cannot be loaded', () => {
  it.each([
    [
      'libdbus-1.so.3: cannot open shared object file: No such file or directory',
      'Bluetooth needs libdbus-1.so.3, which is not installed.',
      'sudo apt install libdbus-1-3',
    ],
    [
      "Cannot find package 'webbluetooth' imported from /opt/tautline/dist/link/ble-process.js",
      'Bluetooth needs the npm package webbluetooth, which is not installed.',
      'without --omit=optional',
    ],
    [
      'No native build was found for platform=freebsd arch=x64',
      `Bluetooth is not available for this system (freebsd, ${process.arch}).`,
      'kind: serial',
    ],
  ])('%s', (words, message, remedy) => {
    expect(explainLoadFailure(words, words.includes('freebsd') ? 'freebsd' : 'linux')).toEqual({
      code: 'bluetoothUnavailable',
      message,
      remedy: expect.stringContaining(remedy),
    });
  });

  it('has a remedy for a radio that is off or absent on every system', () => {
    for (const platform of ['linux', 'darwin', 'win32'] as const) {
      for (const adapters of [0, 1]) expect(explainNoRadio(adapters, platform).remedy).toMatch(/\w{4}/);
    }
  });
});
