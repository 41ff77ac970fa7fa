import { fileURLToPath } from 'node:url';
import { afterEach, expect, it } from 'vitest';
import { type Running, start } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import type { App } from '../stream/app.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

/*
 * More work than the service has time for: poses are late and are left out, but what concerns force is not. Times are
 * the firmware's: when it began to hold, and when it let go.
 */
const WITHIN_MS = 300;
const RATE_HZ = 1000;
const READERS = 48;
const MOST_CROWDS = 10;
const POSES = 200;

const monotonicUs = (): number => Number(process.hrtime.bigint() / 1000n);
const CROWD = fileURLToPath(new URL('./apps/crowd.mjs', import.meta.url));

let glove: HostGlove;
const crowds: Running[] = [];

afterEach(async () => {
  for (const crowd of crowds.splice(0)) {
    crowd.process.kill('SIGKILL');
    await crowd.outcome;
  }
  await stopAllServices();
  await glove?.quit();
});

/** @returns ms from just before `ask` to the firmware's event */
async function tookMs(event: 'held' | 'released', ask: () => unknown): Promise<number> {
  const happened = glove.nextEvent(event);
  const atUs = monotonicUs();
  ask();
  const { deviceUs } = await happened;
  return (glove.clockUs + deviceUs - atUs) / 1000;
}

/** Poses a second of the glove's time that the last ones were sent at. */
function posesPerS({ records }: App): number {
  const last = records.slice(-POSES);
  return ((last.length - 1) * 1e6) / (last.at(-1)!.timeUs - last[0].timeUs);
}

it('under overload, resist, release and disarm reach the glove in time', async () => {
  glove = await startHostGlove(['--rate', String(RATE_HZ)]);
  const service = await startServiceProcess(
    [hostGloveProfile(glove.pty), 'stream: { maxClients: 1000 }'].join('\n'),
  );
  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints'], rateHz: 20 });
  await app.reached(() => app.of('joints').some(({ valid }) => valid));
  const onlooker = await service.connect('tautline.binary.v1');
  await onlooker.ask({ type: 'subscribe', streams: ['joints'] });
  expect((await service.arm('right')).body).toMatchObject({ armed: true });

  // However quick the machine is: until a good part of the poses is left out.
  do {
    const args = [service.port, 'right', READERS, 0, 0, 'apart'].map(String);
    const crowd = start(args, [CROWD]);
    crowds.push(crowd);
    await crowd.said('crowded');
    const seen = onlooker.records.length;
    await onlooker.reached(() => onlooker.records.length > seen + POSES);
  } while (posesPerS(onlooker) > 0.7 * RATE_HZ && crowds.length < MOST_CROWDS);
  expect(posesPerS(onlooker)).toBeLessThan(0.7 * RATE_HZ);

  const stop = { stopAt: 0.1, effort: 1 };
  const fingers = { index: stop, middle: stop };
  const resist = () => app.send({ type: 'resist', hand: 'right', fingers, ttlMs: 1000 });
  for (const free of ['release', 'disarm']) {
    expect(await tookMs('held', resist)).toBeLessThan(WITHIN_MS);
    expect(await tookMs('released', () => app.send({ type: free, hand: 'right' }))).toBeLessThan(WITHIN_MS);
  }
});
