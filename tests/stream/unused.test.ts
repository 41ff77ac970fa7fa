import { pino } from 'pino';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { type Service, startService } from '../../src/service.js';
import { simulatedProfile } from '../recording/live-glove.js';
import { App } from './app.js';

// A spool of 10 mm under a hobby servo of 0.15 N·m: 15 N, against the cap of 8 N.
let service: Service;
const logged: { event?: string; msg: string }[] = [];
beforeAll(async () => {
  const profile = simulatedProfile(['right'], 100);
  profile.stream.port = 0;
  for (const actuator of profile.gloves[0].actuators) {
    if (actuator.role === 'index' || actuator.role === 'ring') actuator.spoolRadiusMm = 10;
  }
  const logger = pino({ level: 'warn' }, { write: (line) => void logged.push(JSON.parse(line)) });
  service = await startService({ profile, logger });
});
afterAll(() => service.close());

const SAYS =
  /^index, ring stay free: the servo pulls up to 15 N .*, more than the 8 N of safety\.maxTensionN/;
const host = () => new URL(service.address).host;

it('a servo that is never used is said in the log, in the welcome and in /health, in the same words', async () => {
  const app = await App.connect(Number(new URL(service.address).port));
  await app.reached(() => app.of('welcome').at(-1)?.hands[0].deviceId !== undefined);
  const [hand] = app.of('welcome').at(-1)!.hands;
  const unused = hand.actuators.flatMap(({ role, unused }) => (unused ? [{ role, ...unused }] : []));
  expect(unused.map(({ role }) => role)).toEqual(['index', 'ring']);
  expect(app.schemaErrors).toEqual([]);
  app.ws.terminate();

  const health = (await (await fetch(`http://${host()}/health`)).json()) as {
    gloves: { unused: { says: string; remedy: string }[] }[];
  };
  const [line, ...more] = health.gloves[0].unused;
  expect(line.says).toMatch(SAYS);
  expect(more).toEqual([]);
  for (const { reason, remedy } of unused) {
    expect(line.says).toContain(reason);
    expect(line.remedy).toBe(remedy);
  }
  expect(logged.map(({ msg }) => msg)).toContain(`right glove: ${line.says} ${line.remedy}`);
});

it('and it is true: asked for all fingers, the governor holds the others and never these', async () => {
  const app = await App.connect(Number(new URL(service.address).port));
  await app.reached(() => app.of('welcome').at(-1)?.hands[0].deviceId !== undefined);
  await app.ask({ type: 'subscribe', streams: ['resistance'] });
  service.gloves[0].arm('the wearer', 'wearer');
  const fingers = Object.fromEntries(
    ['thumb', 'index', 'middle', 'ring', 'little'].map((finger) => [finger, { stopAt: 0.9, effort: 1 }]),
  );
  const ask = setInterval(() => app.send({ type: 'resist', hand: 'right', fingers }), 100);
  try {
    const held = () => app.of('resistance').filter(({ fingers }) => fingers.thumb?.stopAt !== undefined);
    await app.reached(() => held().length >= 5);
    for (const { fingers } of held()) {
      expect(fingers.index?.stopAt).toBeUndefined();
      expect(fingers.ring?.stopAt).toBeUndefined();
      expect(fingers.index?.limits).toContain('tension');
    }
  } finally {
    clearInterval(ask);
    service.gloves[0].disarm('the test', 'wearer');
    app.ws.terminate();
  }
});
