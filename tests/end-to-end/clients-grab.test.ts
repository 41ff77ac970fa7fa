import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { linesOf } from '../client/lines.js';
import { compileCsharp } from '../client/mono.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** A ball in the palm of the simulated hand, which opens and closes, taken and let go by an app in each language. */
let folder: string;
let service: ServiceProcess;
let app: App;
const watch = async () => {
  app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'resistance', 'gestures'] });
};
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-grab-'));
  const flags = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-fno-exceptions', '-Isrc/client/cpp'];
  execFileSync(process.env.CXX ?? 'g++', [
    ...flags,
    '-pthread',
    'tests/client/cpp/grab.cpp',
    '-o',
    join(folder, 'grab'),
  ]);
  compileCsharp('tests/client/csharp/Grabber.cs', join(folder, 'grab.exe'));
  service = await startServiceProcess();
  await watch();
}, 240_000);

const apps = new Set<ChildProcess>();
afterEach(() => {
  for (const child of apps) child.kill('SIGKILL');
  apps.clear();
});
afterAll(async () => {
  app?.ws.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});

const PROGRAMS: Record<string, () => [string, ...string[]]> = {
  JavaScript: () => [process.execPath, 'tests/client/javascript/grab.mjs'],
  'C#': () => ['mono', join(folder, 'grab.exe')],
  'C++': () => [join(folder, 'grab')],
  Python: () => ['python3', 'tests/client/python/grab.py'],
};

describe.each(Object.keys(PROGRAMS))('a ball in %s', (language) => {
  const start = () => {
    const [command, ...before] = PROGRAMS[language]();
    const child = spawn(command, [...before, `ws://127.0.0.1:${service.port}/stream`], {
      stdio: ['pipe', 'pipe', 'inherit'],
      env: { ...process.env, PYTHONPATH: 'src/client/python' },
    });
    apps.add(child);
    const said = linesOf(child.stdout);
    const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
    const says = (line: RegExp, after = 0) =>
      expect
        .poll(() => said.slice(after).findIndex((one) => line.test(one)), { timeout: 30_000 })
        .toBeGreaterThanOrEqual(0);
    return { child, said, says, ended };
  };
  const effort = () =>
    Math.max(...FINGERS.map((finger) => app.of('resistance').at(-1)?.fingers[finger]?.effort ?? 0));

  it('is taken by a hand that closes, disarmed or not, felt once the wearer arms, and let go when it opens', async () => {
    const { child, said, says, ended } = start();
    await says(/^near$/);
    await says(/^grabbed /);
    expect(effort()).toBe(0);
    await says(/^letGo /);
    expect(said.slice(0, 2)).toEqual(expect.arrayContaining([expect.stringMatching(/^(away|near)$/)]));
    // Around a wrist that is still, a hand throws nothing.
    const [, , ...velocity] = said.find((line) => line.startsWith('letGo'))!.split(' ');
    for (const part of velocity) expect(Math.abs(Number(part))).toBeLessThan(0.2);
    await expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200);
    await app.reached(() => effort() > 0);
    await app.ask({ type: 'disarm' });
    await app.reached(() => effort() === 0);
    await says(/^grabbed /, said.length);
    await says(/^letGo /, said.length);
    const counts = language === 'C++' || language === 'C#';
    if (counts) await says(/^warm$/);
    child.stdin.end();
    expect(await ended).toBe(0);
    if (counts) {
      const [noisy, all] = /^allocating (\d+) of (\d+)$/.exec(said.at(-1)!)!.slice(1).map(Number);
      expect(all).toBeGreaterThan(100);
      // A touch that begins makes a request; no frame else allocates.
      expect(noisy / all).toBeLessThan(0.02);
    }
  }, 120_000);

  it('falls when the service goes', async () => {
    const { port } = service;
    const { said, says } = start();
    await says(/^grabbed /);
    const before = said.length;
    await service.stop();
    await says(/^away$/, before - 1);
    service = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`]);
    await watch();
  }, 120_000);
});
