import { existsSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { compose, invert, type RigidPose } from '../../src/client/rigid.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from '../end-to-end/service.js';
import { type Answer, Driver, stopAllDrivers } from './driver.js';
import { Peer, pause } from './peer.js';
import { at, attachGrip, endWell, FULL, gripInWrist, input, rows, SIMPLE } from './rig.js';

/** The real service, found by its own file. */
let runtimeFolder: string;
let service: ServiceProcess;
const FILE = () => join(runtimeFolder, 'tautline', 'stream.json');
const start = (...args: string[]) => startServiceProcess(undefined, args, { XDG_RUNTIME_DIR: runtimeFolder });

beforeEach(async () => {
  runtimeFolder = mkdtempSync(join(tmpdir(), 'tautline-runtime-'));
});
afterEach(async () => {
  await stopAllDrivers();
  await stopAllServices();
  rmSync(runtimeFolder, { recursive: true, force: true });
});

const GRIP = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9);

async function openHands(profile = SIMPLE): Promise<Driver> {
  const app = Driver.start({ runtimeFolder });
  await app.world(`controller right ${profile}`, `grip right ${GRIP.join(' ')}`);
  await app.open('XR_EXT_hand_tracking');
  await attachGrip(app, profile);
  await app.do('tracker right right', 'frames 1', 'sync game');
  return app;
}

const isActive = ({ active }: Answer) => active === 1;

/**
 * Repeats something every few ms until it is so.
 * @returns how long that took, ms, less what the machine kept this process from running for
 */
async function timed(what: string, isSo: () => Promise<boolean>, withinMs = 20_000): Promise<number> {
  const from = performance.now();
  let stalledMs = 0;
  for (let last = from; ; ) {
    if (await isSo()) return performance.now() - from - stalledMs;
    await pause(5);
    const now = performance.now();
    // Some commands and a pause; what takes longer is another's time.
    stalledMs += Math.max(0, now - last - 15);
    last = now;
    if (now - from > withinMs) throw new Error(`${what}: not within ${withinMs} ms`);
  }
}

/** Frame after frame, until a hand is there, or no longer. */
const untilHands = (app: Driver, there: boolean): Promise<number> =>
  timed(`hands ${there ? 'come' : 'go'}`, async () => {
    await app.do('frames 1', 'sync game');
    return isActive(await app.do('hands right local')) === there;
  });

describe('with the real service and its simulated glove', () => {
  it('an application has the hand that the service sends', async () => {
    service = await start();
    const app = await openHands();
    await untilHands(app, true);
    const watcher = await service.connect();
    await watcher.ask({ type: 'subscribe', streams: ['joints'] });
    // The newest sample that the service has sent lies between two looks at the hand.
    let near = 0;
    for (let i = 0; i < 20; i++) {
      const before = watcher.of('joints').length;
      const answer = await app.do('hands right local time=-0');
      await watcher.reached(() => watcher.of('joints').length > before + 6);
      const candidates = watcher.of('joints').slice(Math.max(0, before - 12), before + 6);
      const apart = candidates.map(({ poses }) => {
        const flat = Float64Array.from(poses.flat());
        const wrist = compose(GRIP, invert(gripInWrist('right', flat)));
        return Math.max(
          ...rows(answer).map((row, joint) => {
            const expected = compose(wrist, flat.subarray(joint * 8, joint * 8 + 7) as unknown as RigidPose);
            return Math.hypot(row[1] - expected[0], row[2] - expected[1], row[3] - expected[2]);
          }),
        );
      });
      // A sample is 4 ms from the next; a fingertip moves no more than some millimetres in that time.
      if (Math.min(...apart) < 2e-3) near++;
    }
    expect(near).toBeGreaterThan(17);
    watcher.ws.close();
    await endWell(app);
  });

  it('an application has trigger and squeeze, and its name is known', async () => {
    service = await start();
    const app = Driver.start({ runtimeFolder });
    await app.open();
    await app.do('set game 0', 'action game squeeze float left right');
    await app.do(`suggest ${FULL} squeeze ${input('right', 'squeeze/value')}`, 'attach game');
    const seen = new Set<number>();
    for (let i = 0; i < 400 && seen.size < 20; i++) {
      await app.do('sync game');
      const { active, value } = await app.do('get squeeze right');
      if (active) seen.add(Number(value));
      await pause(10);
    }
    expect(seen.size).toBe(20);
    const health = await (await fetch(`http://127.0.0.1:${service.port}/health`)).json();
    expect(JSON.stringify(health)).toContain('driver \\"of\\" tests');
    await endWell(app);
  });

  it('a service that is killed takes the hand with it, and brings it back within half a second', async () => {
    service = await start();
    const app = await openHands();
    await untilHands(app, true);
    service.process.kill('SIGKILL');
    await service.outcome;
    expect(await untilHands(app, false)).toBeLessThan(400);
    // Its file is still there; its process is not.
    expect(existsSync(FILE())).toBe(true);
    await pause(300);
    service = await start();
    expect(await untilHands(app, true)).toBeLessThan(600);
    await endWell(app);
  });

  it('a service that hangs is gone after 200 ms, and back when it goes on', async () => {
    service = await start();
    const app = await openHands();
    await untilHands(app, true);
    service.process.kill('SIGSTOP');
    expect(await untilHands(app, false)).toBeLessThan(400);
    service.process.kill('SIGCONT');
    expect(await untilHands(app, true)).toBeLessThan(600);
    await endWell(app);
  });

  it('a service that asks for a token has given it to the layer by its file', async () => {
    const tokenFile = join(runtimeFolder, 'token');
    writeFileSync(tokenFile, 'a token of more than sixteen characters'.replaceAll(' ', '-'), { mode: 0o600 });
    service = await start('--token-file', tokenFile);
    const app = await openHands();
    await untilHands(app, true);
    await endWell(app);
  });

  it('tells where it is while it runs, to its user alone', async () => {
    service = await start();
    expect(statSync(FILE()).mode & 0o777).toBe(0o600);
    expect(JSON.parse(readFileSync(FILE(), 'utf8'))).toEqual({
      url: `ws://127.0.0.1:${service.port}/stream`,
      pid: service.process.pid,
    });
    await service.stop();
    expect(existsSync(FILE())).toBe(false);
  });
});

describe('a service that comes late', () => {
  it('is found by an application that was there before, which has hands within half a second', async () => {
    // The service's own port is written into the file when it starts.
    const app = Driver.start({ runtimeFolder, offers: 'time hands' });
    await app.world(`camera right ${GRIP.join(' ')}`);
    await app.open('XR_EXT_hand_tracking');
    await app.do('tracker right right', 'frames 1');
    const own = (answer: Answer) => rows(answer)[3][8] < 0.0051;
    expect(own(await app.do('hands right local'))).toBe(true);
    service = await start();
    const tookMs = await timed('hands come', async () => !own(await app.do('hands right local')));
    expect(tookMs).toBeLessThan(600);
    await endWell(app);
  });
});

describe('an address in the environment', () => {
  it('goes before the file', async () => {
    const peer = await Peer.start();
    try {
      peer.wear('right');
      await peer.stop();
      await peer.listen(0, 'a-secret-of-the-wearer');
      const env = {
        TAUTLINE_STREAM: `ws://127.0.0.1:${peer.port}/stream`,
        TAUTLINE_TOKEN: 'a-secret-of-the-wearer',
      };
      const app = Driver.start({ runtimeFolder, env });
      await app.open();
      await peer.subscribed();
      await endWell(app);
    } finally {
      await peer.end();
    }
  });
});

describe('a file that is not to be believed', () => {
  const found = async (text: string, mode = 0o600) => {
    const peer = await Peer.start();
    try {
      peer.wear('right');
      const file = join(peer.runtimeFolder, 'tautline', 'stream.json');
      rmSync(file);
      const url = `ws://127.0.0.1:${peer.port}/stream`;
      writeFileSync(file, text.replace('URL', url).replace('PID', String(process.pid)), { mode });
      const app = Driver.start({ runtimeFolder: peer.runtimeFolder });
      await app.open('XR_EXT_hand_tracking');
      await pause(150);
      const connected = peer.sockets.size > 0;
      await endWell(app);
      return connected;
    } finally {
      await peer.end();
    }
  };
  it('is one that others may write, that names no living process, or that says nothing', async () => {
    expect(await found('{"url":"URL","pid":PID}')).toBe(true);
    expect(await found('{"more":[{"a":null}],"url":"URL","pid":PID,"token":""}')).toBe(true);
    expect(await found('{"url":"URL","pid":PID}', 0o666)).toBe(process.umask() !== 0);
    expect(await found('{"url":"URL","pid":999999999}')).toBe(false);
    expect(await found('{"url":"URL"}')).toBe(false);
    expect(await found('{"url":"URL","pid":PID')).toBe(false);
    expect(await found('{"url":"http://127.0.0.1/","pid":PID}')).toBe(false);
    expect(await found('')).toBe(false);
  });
});
