import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { linesOf } from '../client/lines.js';
import { compileCsharp } from '../client/mono.js';
import { type Asked, stagedService } from '../client/staged-service.js';
import { compileCpp } from '../compiled.js';
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
  compileCpp([...flags, '-pthread', 'tests/client/cpp/grab.cpp'], join(folder, 'grab'));
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
  const start = (url = `ws://127.0.0.1:${service.port}/stream`, ...more: string[]) => {
    const [command, ...before] = PROGRAMS[language]();
    const child = spawn(command, [...before, url, ...more], {
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

  it("is touched where it is: in the hand's space, in the palm while held, without force until armed, and no more once far", async () => {
    const staged = await stagedService();
    const { said, says } = start(staged.url);
    const inHand = (request: Asked) => request.type === 'touch' && (request.space ?? 'wrist') === 'wrist';
    const inPalm = (request: Asked) => request.type === 'touch' && request.space === 'palm';
    const first = await staged.asks(inHand, 'a touch in the space of the hand');
    expect(first).toMatchObject({
      hand: 'right',
      shape: { kind: 'sphere', radius: 0.035 },
      effort: 0,
      ttlMs: 250,
    });
    const close = (got: number[], wanted: number[]) =>
      got.forEach((value, i) => {
        expect(value).toBeCloseTo(wanted[i], 4);
      });
    close(first.position!, [0, -0.055, -0.09]);
    close(first.orientation!, [0, 0, 0, 1]);

    // Another app's, another thing's, and one that is not carried.
    const mine = { by: 'app7', layer: first.layer!, fingers: ['thumb', 'index'], carried: true };
    staged.touches([
      { ...mine, by: 'app8' },
      { ...mine, layer: 'elsewhere' },
    ]);
    await new Promise((resolve) => setTimeout(resolve, 100));
    staged.touches([{ ...mine, carried: false }]);
    await staged.asks(inHand, 'a renewal');
    expect(said.at(-1)).toBe('near');
    staged.touches([{ by: 'app8', fingers: [], carried: false }, mine]);
    const held = await staged.asks(inPalm, 'a touch in the palm');
    expect(held).toMatchObject({ layer: first.layer, effort: 0, shape: first.shape });
    close(held.position!, [0, -0.055, -0.03]);

    staged.arm(true);
    const felt = await staged.asks(
      (request) => inPalm(request) && request.effort !== 0,
      'a touch with force',
    );
    // 1 is what the service takes when nothing is said.
    expect(felt.effort ?? 1).toBe(1);
    // A quarter turn about y, and elsewhere; with the hand, and in the palm where it was.
    const half = Math.SQRT1_2;
    Object.assign(staged.hand, { palm: [0.2, 0.1, -0.06, 0, half, 0, half], speed: [0.5, 0, 0, 0, 0, 2] });
    await new Promise((resolve) => setTimeout(resolve, 100));
    close((await staged.asks(inPalm, 'a renewal in the palm')).position!, [0, -0.055, -0.03]);
    staged.touches([]);
    const free = await staged.asks(inHand, 'a touch where it was let go');
    expect(free.layer).toBe(first.layer);
    close(free.position!, [0.2 - 0.03, 0.1 - 0.055, -0.06]);
    await says(/^letGo /);
    // v + w x r, with r from the palm to the ball: (-0.03, -0.055, 0).
    const velocity = said
      .find((line) => line.startsWith('letGo'))!
      .split(' ')
      .slice(1)
      .map(Number);
    close(velocity, [0.5 + 2 * 0.055, 2 * -0.03, 0]);

    staged.hand.palm = [2, 0, 0, 0, 0, 0, 1];
    const gone = await staged.asks(({ type }) => type === 'release', 'its end');
    expect(gone.layer).toBe(first.layer);
    await says(/^away$/);
    staged.close();
  }, 60_000);

  it('is felt where it flies, and rests in the hand', async () => {
    const staged = await stagedService();
    start(staged.url, 'moving');
    const flying = await staged.asks(({ type }) => type === 'touch', 'a touch');
    expect(flying.linearVelocity).toEqual([0.25, 0, -1]);
    expect(flying.angularVelocity!.map((x) => x + 0)).toEqual([0, 3, 0.5]);
    staged.touches([{ by: 'app7', layer: flying.layer!, fingers: ['thumb', 'index'], carried: true }]);
    const held = await staged.asks(
      ({ type, space }) => type === 'touch' && space === 'palm',
      'a touch in the palm',
    );
    for (const part of [...held.linearVelocity!, ...held.angularVelocity!]) expect(Math.abs(part)).toBe(0);
    staged.close();
  }, 60_000);

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
