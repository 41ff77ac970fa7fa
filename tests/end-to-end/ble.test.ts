import { readFileSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, describe, expect, it } from 'vitest';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { startBus } from '../link/bluez-peer/bus.js';
import { type Peer, startPeer } from '../link/bluez-peer/index.js';
import { hostLinkGlove } from './host-link-glove.js';
import { bend, linkTest, newest, type ServoState } from './link-test.js';
import { startServiceProcess, stopAllServices } from './service.js';

/** The example that users copy. */
const PROFILE = readFileSync('config/bluetooth.yaml', 'utf8');
const INDEX = 1;

const stops: (() => Promise<unknown>)[] = [];

const SAMPLE_RATE_HZ = 200;

/** The firmware and a bus; a radio in front of the firmware is started with `peer`, again and again. */
async function startAll() {
  const channels = 'thumb.curl,index.curl,middle.curl,ring.curl,little.curl';
  const host = await startHostGlove(['--rate', String(SAMPLE_RATE_HZ), '--channels', channels]);
  stops.push(host.quit);
  const bus = await startBus();
  stops.push(bus.stop);
  const peer = async (): Promise<Peer> => {
    const started = await startPeer(bus.address, ['--pty', host.pty, '--patience', '3000']);
    stops.push(started.quit);
    return started;
  };
  const env = { DBUS_SYSTEM_BUS_ADDRESS: bus.address };
  const stopAll = async (): Promise<void> => {
    for (const stop of stops.splice(0).reverse()) await stop();
  };
  return { host, env, peer, stopAll };
}

/** Asks until it is so; fails with the test's own time limit. */
async function servoUntil(
  host: HostGlove,
  name: string,
  fits: (servo: ServoState) => boolean,
): Promise<void> {
  while (!fits(await host.ask<ServoState>(`servo ${name}`))) await pause(5);
}

const onLinux = describe.runIf(process.platform === 'linux');

onLinux('from bytes to a hand and back, with the real firmware behind a Bluetooth radio', () => {
  linkTest(async () => {
    const { host, env, peer, stopAll } = await startAll();
    await peer();
    return hostLinkGlove(host, { profile: PROFILE, env, sampleRateHz: SAMPLE_RATE_HZ, quit: stopAll });
  });
});

onLinux('a Bluetooth glove that is lost', () => {
  afterEach(async () => {
    await stopAllServices();
    for (const stop of stops.splice(0).reverse()) await stop();
  });

  it('comes back after every kind of loss', async () => {
    const { host, env, peer: startGlovePeer } = await startAll();
    let peer = await startGlovePeer();
    const service = await startServiceProcess(PROFILE, [], env);
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'], rateHz: 100 });
    const valid = () => newest(app)?.valid === true;
    const bentIndex = async (curl: number) => {
      await host.command(`set index.curl ${curl}`);
      await app.reached(
        () => valid() && (curl > 0.5 ? bend(newest(app)!, INDEX) > 0.6 : bend(newest(app)!, INDEX) < 0.3),
      );
    };
    await app.reached(valid);
    await bentIndex(0.8);
    expect(newest(app)!.fingers.index).toBe('tracked');
    await bentIndex(0);

    // The connection breaks in the middle of a frame.
    await peer.ask('break-off');
    await app.reached(() => !valid());
    await bentIndex(0.8);

    // The system's Bluetooth crashes and is started again. The service is not touched.
    await peer.kill();
    await app.reached(() => !valid());
    peer = await startGlovePeer();
    await bentIndex(0);
    expect((await peer.stats()).subscriptions).toBe(1);

    const times = app.of('joints').map(({ timeUs }) => timeUs);
    expect(times).toEqual([...new Set(times)].sort((a, b) => a - b));
    await service.stop();
    expect((await peer.stats()).connected).toBe(false);
  }, 60_000);

  it('frees every finger when the glove goes out of range', async () => {
    const { host, env, peer: startGlovePeer } = await startAll();
    const peer = await startGlovePeer();
    const service = await startServiceProcess(PROFILE, [], env);
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['joints', 'health'], rateHz: 50 });
    await app.reached(() => newest(app)?.valid === true);
    await service.arm('right');
    // As a hand does it: a finger that leaps is a loose plug, and is not held until it is believed again.
    await host.command('ramp index.curl 0.3 300');
    const renew = setInterval(
      () =>
        app.send({
          type: 'resist',
          hand: 'right',
          fingers: { index: { stopAt: 0.5, effort: 1 } },
          ttlMs: 1000,
        }),
      100,
    );
    try {
      await servoUntil(host, 'index', ({ free }) => !free);
      await peer.ask('away');
      await servoUntil(host, 'index', ({ free }) => free);
      await app.reached(() => newest(app)?.valid === false);
      // On a busy machine its silence is noticed first.
      const gone = 'is gone: out of range, switched off, or out of battery';
      await app.reached(() => app.of('health').at(-1)?.link.reason?.includes(gone) === true);
    } finally {
      clearInterval(renew);
    }
  });
});
