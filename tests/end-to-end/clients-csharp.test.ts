import { execFile } from 'node:child_process';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { describe, expect, it } from 'vitest';
import { holdsWithLateAnswers, outlivesHostileService } from '../client/loop-trials.js';
import { compileCsharp } from '../client/mono.js';
import { gameLoops } from './game-loop.js';

/** The C# client in a game loop, as a real program under mono that polls every 2 ms, against a real service. */
const game = gameLoops((folder) => {
  compileCsharp('tests/client/csharp/Driver.cs', driverIn(folder));
  return ['mono', driverIn(folder), 'loop'];
});
const driverIn = (folder: string) => join(folder, 'driver.exe');
const { loop, armed, effort } = game;

describe('the C# client', () => {
  it('allocates nothing per frame while poses come and a ball moves with the hand', async () => {
    const counting = promisify(execFile)('mono', [driverIn(game.folder), 'frames', game.url, '2000']);
    await armed();
    const [quiet, collections, counts, inputs] = (await counting).stdout.trim().split(' ');
    expect({ collections, counts, inputs }).toEqual({ collections: '0', counts: 'True', inputs: 'True' });
    // Windows in which not one byte was allocated.
    expect(Number(quiet)).toBeGreaterThanOrEqual(8);
  });

  it('holds from when the wearer arms until the app lets go', async () => {
    const running = loop();
    running.tell('stop 0.3');
    await running.says('hold Paused disarmed');
    running.tell('how');
    await running.says(/To arm: .*tautline arm/);
    await armed();
    await running.says('hold Held');
    await game.app.reached(() => effort() > 0);
    running.tell('free');
    await game.app.reached(() => effort() === 0);
    expect(game.app.of('resistance').at(-1)!.armed).toBe(true);
  });

  it('frees the finger when its loop hangs, and holds again when it goes on', async () => {
    const running = loop();
    running.tell('stop 0.3');
    await armed();
    await game.app.reached(() => effort() > 0);
    const seen = game.app.of('resistance').length;
    running.tell('hang 1500');
    await game.app.reached(() => game.app.of('resistance').length > seen && effort() === 0);
    await game.app.reached(() => effort() > 0);
    running.process.kill('SIGKILL');
    await game.app.reached(() => effort() === 0);
  });

  it('touches without force while the glove is disarmed', async () => {
    const running = loop();
    running.tell('ball 0');
    await running.says('hold Held');
  });

  it('says what the service refuses, and holds what is refused no longer', async () => {
    const running = loop();
    running.tell('pulse 7');
    await running.says(/^failed badMessage: .* \(\/amplitude\)$/);
    running.tell('ball 7');
    // Refused for its number whether or not the glove is armed.
    await armed();
    await running.says('hold Refused badMessage /effort');
  });

  it('knows that it holds, also where every answer comes late', () =>
    holdsWithLateAnswers(loop, (one) => one.says('hold Held')));

  it('outlives a service that sends what no service sends', () => outlivesHostileService(loop));

  it('comes back after the service, and waits for the wearer again', async () => {
    const running = loop();
    running.tell('stop 0.3');
    await running.says('hold Paused disarmed');
    await armed();
    await running.says('hold Held');
    await game.service.stop();
    await running.says(/^Waiting ./);
    await running.says('hold Paused notConnected');
    await game.restart();
    await running.says('Open', 2);
    await running.says('hold Paused disarmed', 2);
    await armed();
    await running.says('hold Held', 2);
  });

  it.each([
    [
      'no service',
      'ws://127.0.0.1:1/stream',
      /^Waiting No service answers at ws:\/\/127\.0\.0\.1:1\/stream: /,
    ],
    ['another path', '/elsewhere', /^Waiting The service refused: /],
  ])('says in one line what is wrong: %s', async (_case, address, line) => {
    const running = loop(address.startsWith('/') ? `ws://127.0.0.1:${game.service.port}${address}` : address);
    await running.says(line);
  });
});
