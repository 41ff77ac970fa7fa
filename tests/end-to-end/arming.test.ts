import { fileURLToPath } from 'node:url';
import { afterEach, describe, expect, it } from 'vitest';
import type { GuideReport } from '../../src/guide/guide.js';
import { type Running, run, start } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import type { App } from '../stream/app.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/*
 * Arming belongs to the wearer. An app that asks to arm with every request is running in all of these; what counts is
 * what the firmware holds.
 */

const [DISARM, ARM] = [9, 10];
const TOKEN = 'token-of-a-grabbing-game';
/** An app needs one round trip to take hold again: this is dozens. */
const WATCHED_MS = 1200;
const GRABBER = fileURLToPath(new URL('./apps/grabber.mjs', import.meta.url));

let glove: HostGlove;
let service: ServiceProcess;
let app: App;
const running: Running[] = [];

afterEach(async () => {
  for (const one of running.splice(0)) {
    one.process.kill('SIGKILL');
    await one.outcome;
  }
  await stopAllServices();
  await glove?.quit();
});

/** @param trusted the profile permits the grabbing app to arm */
async function begin(trusted: boolean): Promise<void> {
  glove = await startHostGlove(['--rate', '250']);
  service = await startServiceProcess(
    [
      hostGloveProfile(glove.pty),
      `    buttons: { disarm: ${DISARM}, arm: ${ARM} }`,
      '    controls: { armPressS: 0.5, armFists: 3 }',
      ...(trusted
        ? ['stream:', '  permissions:', `    apps: [{ name: Grabber, may: [resist, arm], token: ${TOKEN} }]`]
        : []),
    ].join('\n'),
  );
  app = await service.connect();
  await app.ask({ type: 'subscribe', app: 'onlooker', streams: ['joints', 'resistance'], rateHz: 20 });
  await app.reached(() => app.of('joints').at(-1)?.valid === true);
  // Apart from the arm, all that it asks for is granted.
  const grabber = start([String(service.port), 'right', TOKEN], [GRABBER]);
  running.push(grabber);
  await grabber.said('grabbing');
}

const isFree = async (): Promise<boolean> =>
  (await glove.ask<{ free: boolean }[]>('servos')).every(({ free }) => free);
const held = async (): Promise<void> => {
  while (await isFree());
};
async function staysFree(): Promise<void> {
  const untilMs = performance.now() + WATCHED_MS;
  while (performance.now() < untilMs) expect(await isFree()).toBe(true);
}
const freed = async (): Promise<void> => {
  while (!(await isFree()));
};

describe('an app that arms with every request holds no finger again', () => {
  const ways: [string, () => Promise<unknown>][] = [
    ['POST /disarm', () => fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' })],
    ['a disarm by another app', async () => app.send({ type: 'disarm' })],
    ['`tautline disarm`', () => run('disarm', '--url', `127.0.0.1:${service.port}`)],
    [
      'the glove button',
      async () => {
        await glove.command(`button ${DISARM} 1`);
        await freed();
        await glove.command(`button ${DISARM} 0`);
      },
    ],
    [
      'a cable that is pulled and put back',
      async () => {
        await app.reached(() => app.of('resistance').at(-1)?.armed === true);
        await glove.command('cut');
        // Shorter than that it is a hiccup, in which fingers are free but the link is not lost.
        await app.reached(() => app.of('resistance').at(-1)?.armed === false);
        await glove.command('restore');
        await app.reached(() => app.of('joints').at(-1)?.valid === true);
      },
    ],
  ];

  it('though the profile trusts it with arming, after any of the ways to let go; until the wearer arms', async () => {
    await begin(true);
    // It may, before anybody has let go.
    await held();
    for (const [way, letsGo] of ways) {
      await letsGo();
      await freed();
      await staysFree().catch((error) => {
        throw new Error(`held again after ${way}`, { cause: error });
      });
      await expect.poll(async () => (await service.arm('right')).status, { timeout: 20_000 }).toBe(200);
      await held();
    }
  });

  it('nor ever, where the profile says nothing of it; the wearer arms by command, long press and fists', async () => {
    await begin(false);
    await staysFree();
    const url = `127.0.0.1:${service.port}`;
    const answer = await app.ask({ type: 'arm' });
    expect(answer).toMatchObject({ type: 'error', code: 'notPermitted' });
    expect(answer).toMatchObject({ message: expect.stringContaining('tautline arm') });
    expect((await fetch(`http://${url}/arm`, { method: 'POST' })).status).toBe(403);
    await staysFree();

    const disarmed = async () => {
      await fetch(`http://${url}/disarm`, { method: 'POST' });
      await freed();
      // An arm within 0.25 s of a disarm is refused.
      await new Promise((resolve) => setTimeout(resolve, 300));
    };
    expect(await run('arm', '--url', url)).toMatchObject({ code: 0, stderr: '' });
    await held();
    await disarmed();
    await glove.command(`button ${ARM} 1`);
    await held();
    await glove.command(`button ${ARM} 0`);
    await disarmed();
    for (let fist = 0; fist < 3; fist++) {
      for (const curl of [0.95, 0.05]) {
        for (const name of ['thumb', 'index', 'middle', 'ring', 'little']) {
          await glove.command(`ramp ${name}.curl ${curl} 200`);
        }
        await new Promise((resolve) => setTimeout(resolve, 350));
      }
    }
    await held();
    // Without the key that its user alone can read, the command line is anybody.
    await disarmed();
    const stranger = await start(['arm', '--url', url], undefined, { XDG_RUNTIME_DIR: '/nowhere' }).outcome;
    expect(stranger.code).not.toBe(0);
    expect(stranger.stderr).toMatch(/^tautline: Only the wearer arms\..*run `tautline arm`.*\n$/);
    await staysFree();
  });
});

describe('while the wearer is led', () => {
  const guide = async (method: string, path: string) => {
    const response = await fetch(`http://127.0.0.1:${service.port}${path}`, { method });
    return { status: response.status, body: (await response.json()) as GuideReport & { message: string } };
  };

  it('nobody arms; a second one is told who leads; and it ends with the command that leads it', async () => {
    await begin(true);
    await held();
    const url = `http://127.0.0.1:${service.port}`;
    for (const task of ['check', 'fit']) {
      const command = start([task, '--url', url]);
      running.push(command);
      await command.said('hand');
      await freed();
      const { status, body } = await service.arm('right');
      expect(status).toBe(409);
      expect(body.message).toBe(
        `A ${task} is under way, with forces off: arm when it is over, or end it first.`,
      );
      expect(await app.ask({ type: 'arm' })).toMatchObject({ type: 'error' });
      const second = await guide('POST', '/guide?task=check&by=another');
      expect(second).toMatchObject({
        status: 409,
        body: { message: expect.stringContaining(`led through a ${task} already, by \`tautline ${task}\``) },
      });
      expect((await guide('POST', '/guide/next')).status).toBe(409);
      await staysFree();
      command.process.kill('SIGKILL');
      const sinceMs = performance.now();
      // Reading by others is no sign of life of the one who leads.
      while ((await guide('GET', '/guide')).body.state === 'running');
      expect(performance.now() - sinceMs).toBeLessThan(2000);
      expect((await guide('GET', '/guide')).body.reason).toBe(
        `Nothing was heard of \`tautline ${task}\`, which led it.`,
      );
      await service.arm('right');
      await held();
    }
  });

  it('to fit the actuators, only the wearer arms, and only at the prompt', async () => {
    await begin(true);
    await held();
    expect((await guide('POST', '/guide?task=actuators')).status).toBe(200);
    await staysFree();
    expect((await guide('GET', '/guide')).body.move?.name).toBe('arm');
    expect(await guide('POST', '/guide/next')).toMatchObject({
      status: 403,
      body: { message: expect.stringContaining('Only the wearer arms') },
    });
    expect((await service.arm('right')).status).toBe(200);
    await expect.poll(async () => (await guide('GET', '/guide')).body.move?.name).not.toBe('arm');
  });
});
