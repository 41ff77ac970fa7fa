import { setTimeout as wait } from 'node:timers/promises';
import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import { type Body, startHostGlove } from '../firmware/host-glove.js';
import { startServiceProcess } from './service.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY, type TouchBench } from './touch-trials.js';

/** The governor lets go when it hears nothing or is not run in time. */
const INTERRUPTIONS = ['stale', 'clockJump', 'linkLost', 'expired'];

/** The service in a process of its own, the glove behind a pseudo-terminal, an app on a WebSocket, real time. */
export async function startLiveBench(
  side: HandSide,
  gloveArgs: readonly string[] = [],
  strengthN = 5,
): Promise<TouchBench> {
  const channels = FINGERS.map((finger) => `${finger}.curl`).join(',');
  const glove = await startHostGlove(['--physics', '--hand', side, '--channels', channels, ...gloveArgs]);
  await glove.command(`strength ${strengthN}`);
  const actuator = JSON.stringify(PHYSICAL_ACTUATOR).slice(1, -1);
  const service = await startServiceProcess(
    [
      'profile: 1',
      `safety: ${JSON.stringify(PHYSICAL_SAFETY)}`,
      'gloves:',
      '  - name: host glove',
      `    hand: ${side}`,
      `    link: { kind: serial, path: ${glove.pty} }`,
      '    channels:',
      ...FINGERS.map((finger) => `      - { role: ${finger}.curl, open: 491, closed: 3604 }`),
      '    actuators:',
      ...FINGERS.map((finger) => `      - { role: ${finger}, ${actuator} }`),
    ].join('\n'),
  );
  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'], rateHz: 90 });
  await app.reached(() => app.of('joints').some(({ valid }) => valid));
  const { status, body } = await service.arm(side);
  if (status !== 200) throw new Error(String(body.message));

  const nowMs = (): number => Number(process.hrtime.bigint()) / 1e6;
  let read = 0;
  return {
    side,
    nowMs,
    deviceMs: (deviceUs) => (glove.clockUs + deviceUs) / 1000,
    wait: (ms) => wait(Math.max(0, ms)),
    touch: (request) => app.send(request),
    release: () => app.send({ type: 'release', hand: side }),
    command: glove.command,
    bodies: () => glove.ask<Body[]>('bodies'),
    interruption() {
      const messages = app.of('resistance').slice(read);
      read += messages.length;
      const events = messages.flatMap((message) => message.events ?? []);
      return events.find(({ reason }) => INTERRUPTIONS.includes(reason))?.reason;
    },
    async end() {
      await service.stop();
      await glove.quit();
    },
  };
}
