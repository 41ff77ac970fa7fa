import { type ChildProcess, execFile, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { linesOf } from '../client/lines.js';
import { holdsWithLateAnswers, outlivesHostileService } from '../client/loop-trials.js';
import { compileCsharp } from '../client/mono.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The C# client in a game loop, as a real program under mono, against a real service. */
let folder: string;
let driver: string;
let service: ServiceProcess;
let app: App;
const watch = async () => {
  app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['resistance'] });
};
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-csharp-'));
  driver = join(folder, 'driver.exe');
  compileCsharp('tests/client/csharp/Driver.cs', driver);
  service = await startServiceProcess();
  await watch();
}, 240_000);

const loops = new Set<ChildProcess>();
afterEach(async () => {
  for (const child of loops) child.kill('SIGKILL');
  loops.clear();
  await app.ask({ type: 'disarm' });
});
afterAll(async () => {
  app?.ws.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});

const url = () => `ws://127.0.0.1:${service.port}/stream`;
const armed = () => expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200);
const effort = () => app.of('resistance').at(-1)?.fingers.index?.effort ?? 0;

/** A program that polls every 2 ms. */
function loop(address = url()) {
  const child = spawn('mono', [driver, 'loop', address], { stdio: ['pipe', 'pipe', 'inherit'] });
  loops.add(child);
  const said = linesOf(child.stdout);
  return {
    said,
    process: child,
    tell: (line: string) => child.stdin.write(`${line}\n`),
    /** Until it has printed this as its `count`th line of the kind. */
    says: (line: RegExp | string, count = 1) =>
      expect
        .poll(() => said.filter((one) => (typeof line === 'string' ? one === line : line.test(one))).length, {
          timeout: 20_000,
        })
        .toBeGreaterThanOrEqual(count),
  };
}

describe('the C# client', () => {
  it('allocates nothing per frame while poses come and a ball moves with the hand', async () => {
    const running = promisify(execFile)('mono', [driver, 'frames', url(), '2000']);
    await armed();
    const [quiet, collections, counts, inputs] = (await running).stdout.trim().split(' ');
    expect({ collections, counts, inputs }).toEqual({ collections: '0', counts: 'True', inputs: 'True' });
    // Windows in which not one byte was allocated.
    expect(Number(quiet)).toBeGreaterThanOrEqual(8);
  });

  it('holds from when the wearer arms until the app lets go', async () => {
    const game = loop();
    game.tell('stop 0.3');
    await game.says('hold Paused disarmed');
    game.tell('how');
    await game.says(/To arm: .*tautline arm/);
    await armed();
    await game.says('hold Held');
    await app.reached(() => effort() > 0);
    game.tell('free');
    await app.reached(() => effort() === 0);
    expect(app.of('resistance').at(-1)!.armed).toBe(true);
  });

  it('frees the finger when its loop hangs, and holds again when it goes on', async () => {
    const game = loop();
    game.tell('stop 0.3');
    await armed();
    await app.reached(() => effort() > 0);
    const seen = app.of('resistance').length;
    game.tell('hang 1500');
    await app.reached(() => app.of('resistance').length > seen && effort() === 0);
    await app.reached(() => effort() > 0);
    game.process.kill('SIGKILL');
    await app.reached(() => effort() === 0);
  });

  it('touches without force while the glove is disarmed', async () => {
    const game = loop();
    game.tell('ball 0');
    await game.says('hold Held');
  });

  it('says what the service refuses, and holds what is refused no longer', async () => {
    const game = loop();
    game.tell('pulse 7');
    await game.says(/^failed badMessage: .* \(\/amplitude\)$/);
    game.tell('ball 7');
    // Refused for its number whether or not the glove is armed.
    await armed();
    await game.says('hold Refused badMessage /effort');
  });

  it('knows that it holds, also where every answer comes late', () =>
    holdsWithLateAnswers(loop, (game) => game.says('hold Held')));

  it('outlives a service that sends what no service sends', () => outlivesHostileService(loop));

  it('comes back after the service, and waits for the wearer again', async () => {
    const { port } = service;
    const game = loop();
    game.tell('stop 0.3');
    await game.says('hold Paused disarmed');
    await armed();
    await game.says('hold Held');
    await service.stop();
    await game.says(/^Waiting ./);
    await game.says('hold Paused notConnected');
    service = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`]);
    await watch();
    await game.says('Open', 2);
    await game.says('hold Paused disarmed', 2);
    await armed();
    await game.says('hold Held', 2);
  });

  it.each([
    [
      'no service',
      'ws://127.0.0.1:1/stream',
      /^Waiting No service answers at ws:\/\/127\.0\.0\.1:1\/stream: /,
    ],
    ['another path', '/elsewhere', /^Waiting The service refused: /],
  ])('says in one line what is wrong: %s', async (_case, address, line) => {
    const game = loop(address.startsWith('/') ? `ws://127.0.0.1:${service.port}${address}` : address);
    await game.says(line);
  });
});
