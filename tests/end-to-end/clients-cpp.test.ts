import { execFile } from 'node:child_process';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { describe, expect, it } from 'vitest';
import { holdsWithLateAnswers, outlivesHostileService } from '../client/loop-trials.js';
import { compileCpp } from '../compiled.js';
import { need } from '../requirements.js';
import { gameLoops } from './game-loop.js';
import { startServiceProcess } from './service.js';

/** The C++ client for frame loops, as a real program with sanitizers, against a real service. */
const SOURCE = 'tests/client/cpp/loop.cpp';
const STRICT = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-Isrc/client/cpp'];

const game = gameLoops((folder) => {
  const program = join(folder, 'loop');
  // An app may forbid exceptions; nothing of the client needs them.
  const flags = [...STRICT, '-fno-exceptions', '-fsanitize=address,undefined', '-pthread'];
  compileCpp([...flags, SOURCE], program);
  return [program];
});
const { loop, armed, effort } = game;

describe('the C++ client for frame loops', () => {
  it('reads the same hand as the library', async () => {
    const running = loop();
    await running.says(/^pose /, 20);
    const lines = running.said
      .filter((line) => line.startsWith('pose'))
      .map((line) => line.split(' ').map(Number));
    await game.app.until((m) => m.type === 'joints' && m.timeUs >= lines.at(-1)![1]);
    const known = new Map(game.app.of('joints').map((pose) => [pose.timeUs, pose]));
    const both = lines.filter(([, timeUs]) => known.has(timeUs));
    expect(both.length).toBeGreaterThan(lines.length / 2);
    for (const [, timeUs, ...tip] of both) {
      for (let i = 0; i < 3; i++) expect(tip[i]).toBeCloseTo(known.get(timeUs)!.poses[10][i], 4);
    }
    running.tell('end');
    expect(await running.ended).toBe(0);
  });

  it('never waits, not even for a service that is frozen', async () => {
    const frozen = await startServiceProcess();
    const running = loop(`ws://127.0.0.1:${frozen.port}/stream`);
    await running.says(/^pose /, 20);
    frozen.process.kill('SIGSTOP');
    await new Promise((resolve) => setTimeout(resolve, 1500));
    running.tell('end');
    expect(await running.ended).toBe(0);
    frozen.process.kill('SIGCONT');
    await frozen.stop();
    expect(Number(/^longest (\d+)$/.exec(running.said.at(-1)!)?.[1])).toBeLessThan(1_000_000);
  });

  it('holds from when the wearer arms until the app lets go, hangs or dies', async () => {
    const running = loop();
    running.tell('stop 0.3');
    await running.says(/^hold paused/);
    running.tell('how');
    await running.says(/^To arm: .*tautline arm/);
    await armed();
    await running.says(/^hold held/);
    await game.app.reached(() => effort() > 0);
    const seen = game.app.of('resistance').length;
    running.tell('hang 1500');
    await game.app.reached(() => game.app.of('resistance').length > seen && effort() === 0);
    await game.app.reached(() => effort() > 0);
    running.tell('free');
    await game.app.reached(() => effort() === 0);
    running.tell('stop 0.3');
    await game.app.reached(() => effort() > 0);
    running.process.kill('SIGKILL');
    await game.app.reached(() => effort() === 0);
  });

  it('builds for Windows, too', async () => {
    const windows = [...STRICT, '-fno-exceptions', '-static', 'tests/client/cpp/loop-link.cpp', '-lws2_32'];
    need('x86_64-w64-mingw32-g++-posix', 'g++-mingw-w64-x86-64-posix');
    // Not waited for in the way of the app's pongs.
    const out = join(game.folder, 'loop.exe');
    await promisify(execFile)('x86_64-w64-mingw32-g++-posix', [...windows, '-o', out]);
  });

  it('holds what is refused no longer, and has the reason', async () => {
    const running = loop();
    running.tell('touch "shape":{"kind":"sphere","radius":-1}');
    await running.says(/^hold refused/);
    running.tell('refusal');
    await running.says(/"badMessage".*"\/shape\/radius"/);
    running.tell('why');
    await running.says(/^badMessage \/shape\/radius ./);
  });

  it('knows that it holds, also where every answer comes late', () =>
    holdsWithLateAnswers(loop, (one) => one.says(/^hold held/)));

  it('outlives a service that sends what no service sends', () => outlivesHostileService(loop));

  it('comes back after the service, and waits for the wearer again', async () => {
    const running = loop();
    running.tell('stop 0.3');
    await running.says(/^hold paused/);
    await armed();
    await running.says(/^hold held/);
    await game.service.stop();
    await running.says(/^waiting ./);
    await game.restart();
    await running.says(/^open/, 2);
    await armed();
    await running.says(/^hold held/, 2);
  });

  it('says in one line that no service is there', async () => {
    await loop('ws://127.0.0.1:1/stream').says(
      /^waiting No service answers at ws:\/\/127\.0\.0\.1:1\/stream\.$/,
    );
    await loop('http://example').says(/^waiting The address of the service is /);
  });
});
