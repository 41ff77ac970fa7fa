import { type ChildProcess, execFile, execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { linesOf } from '../client/lines.js';
import { holdsWithLateAnswers, outlivesHostileService } from '../client/loop-trials.js';
import { need } from '../requirements.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The C++ client for frame loops, as a real program with sanitizers, against a real service. */
const SOURCE = 'tests/client/cpp/loop.cpp';
const STRICT = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-Isrc/client/cpp'];

let folder: string;
let program: string;
let service: ServiceProcess;
let app: App;
const watch = async () => {
  app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'] });
};
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-cpp-'));
  program = join(folder, 'loop');
  // An app may forbid exceptions; nothing of the client needs them.
  const flags = [...STRICT, '-fno-exceptions', '-fsanitize=address,undefined', '-pthread'];
  execFileSync(process.env.CXX ?? 'g++', [...flags, SOURCE, '-o', program]);
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

const armed = () => expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200);
const effort = () => app.of('resistance').at(-1)?.fingers.index?.effort ?? 0;
function loop(url = `ws://127.0.0.1:${service.port}/stream`) {
  const child = spawn(program, [url], { stdio: ['pipe', 'pipe', 'inherit'] });
  loops.add(child);
  const said = linesOf(child.stdout);
  return {
    said,
    process: child,
    ended: new Promise<number | null>((resolve) => child.on('close', resolve)),
    tell: (line: string) => child.stdin.write(`${line}\n`),
    says: (line: RegExp, count = 1) =>
      expect
        .poll(() => said.filter((one) => line.test(one)).length, { timeout: 20_000 })
        .toBeGreaterThanOrEqual(count),
  };
}

describe('the C++ client for frame loops', () => {
  it('reads the same hand as the library', async () => {
    const game = loop();
    await game.says(/^pose /, 20);
    const lines = game.said
      .filter((line) => line.startsWith('pose'))
      .map((line) => line.split(' ').map(Number));
    await app.until((m) => m.type === 'joints' && m.timeUs >= lines.at(-1)![1]);
    const known = new Map(app.of('joints').map((pose) => [pose.timeUs, pose]));
    const both = lines.filter(([, timeUs]) => known.has(timeUs));
    expect(both.length).toBeGreaterThan(lines.length / 2);
    for (const [, timeUs, ...tip] of both) {
      for (let i = 0; i < 3; i++) expect(tip[i]).toBeCloseTo(known.get(timeUs)!.poses[10][i], 4);
    }
    game.tell('end');
    expect(await game.ended).toBe(0);
  });

  it('never waits, not even for a service that is frozen', async () => {
    const frozen = await startServiceProcess();
    const game = loop(`ws://127.0.0.1:${frozen.port}/stream`);
    await game.says(/^pose /, 20);
    frozen.process.kill('SIGSTOP');
    await new Promise((resolve) => setTimeout(resolve, 1500));
    game.tell('end');
    expect(await game.ended).toBe(0);
    frozen.process.kill('SIGCONT');
    await frozen.stop();
    expect(Number(/^longest (\d+)$/.exec(game.said.at(-1)!)?.[1])).toBeLessThan(1_000_000);
  });

  it('holds from when the wearer arms until the app lets go, hangs or dies', async () => {
    const game = loop();
    game.tell('stop 0.3');
    await game.says(/^hold paused/);
    game.tell('how');
    await game.says(/^To arm: .*tautline arm/);
    await armed();
    await game.says(/^hold held/);
    await app.reached(() => effort() > 0);
    const seen = app.of('resistance').length;
    game.tell('hang 1500');
    await app.reached(() => app.of('resistance').length > seen && effort() === 0);
    await app.reached(() => effort() > 0);
    game.tell('free');
    await app.reached(() => effort() === 0);
    game.tell('stop 0.3');
    await app.reached(() => effort() > 0);
    game.process.kill('SIGKILL');
    await app.reached(() => effort() === 0);
  });

  it('builds for Windows, too', async () => {
    const windows = [...STRICT, '-fno-exceptions', '-static', 'tests/client/cpp/loop-link.cpp', '-lws2_32'];
    need('x86_64-w64-mingw32-g++-posix', 'g++-mingw-w64-x86-64-posix');
    // Not waited for in the way of the app's pongs.
    const out = join(folder, 'loop.exe');
    await promisify(execFile)('x86_64-w64-mingw32-g++-posix', [...windows, '-o', out]);
  });

  it('holds what is refused no longer, and has the reason', async () => {
    const game = loop();
    game.tell('touch "shape":{"kind":"sphere","radius":-1}');
    await game.says(/^hold refused/);
    game.tell('refusal');
    await game.says(/"badMessage".*"\/shape\/radius"/);
    game.tell('why');
    await game.says(/^badMessage \/shape\/radius ./);
  });

  it('knows that it holds, also where every answer comes late', () =>
    holdsWithLateAnswers(loop, (game) => game.says(/^hold held/)));

  it('outlives a service that sends what no service sends', () => outlivesHostileService(loop));

  it('comes back after the service, and waits for the wearer again', async () => {
    const { port } = service;
    const game = loop();
    game.tell('stop 0.3');
    await game.says(/^hold paused/);
    await armed();
    await game.says(/^hold held/);
    await service.stop();
    await game.says(/^waiting ./);
    service = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`]);
    await watch();
    await game.says(/^open/, 2);
    await armed();
    await game.says(/^hold held/, 2);
  });

  it('says in one line that no service is there', async () => {
    await loop('ws://127.0.0.1:1/stream').says(
      /^waiting No service answers at ws:\/\/127\.0\.0\.1:1\/stream\.$/,
    );
    await loop('http://example').says(/^waiting The address of the service is /);
  });
});
