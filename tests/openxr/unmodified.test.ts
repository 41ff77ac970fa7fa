import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeAll, describe, expect, it } from 'vitest';
import { hostGloveProfile, startServiceProcess, stopAllServices } from '../end-to-end/service.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { need, needPackages } from '../requirements.js';
import { buildAll } from './build.js';
import { environmentOf } from './driver.js';
import { pause } from './peer.js';
import { useRig } from './rig.js';

/**
 * The sample application of the standard's makers, as Debian packs it, drawing on the processor's Vulkan driver. It
 * knows nothing of hands: it grabs with a trigger or a grip, and vibrates as long as that is beyond 0.9.
 */
const rig = useRig();

beforeAll(() => {
  needPackages('libopenxr-utils', 'mesa-vulkan-drivers');
  need('hello_xr', 'libopenxr-utils');
});

async function hello(bare: boolean, during: () => Promise<void>, runtimeFolder = rig.peer.runtimeFolder) {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-hello-'));
  let end = () => {};
  try {
    const options = { runtimeFolder, offers: 'time vulkan anyprofile paced', bare };
    const env = {
      ...environmentOf(options, buildAll(), folder),
      VK_ICD_FILENAMES: '/usr/share/vulkan/icd.d/lvp_icd.x86_64.json',
    };
    // Line by line, though it writes into a pipe.
    const app = spawn('stdbuf', ['-oL', 'hello_xr', '-g', 'Vulkan', '-s', 'Local'], { env, stdio: 'pipe' });
    end = () => void app.kill('SIGKILL');
    let said = '';
    for (const stream of [app.stdout, app.stderr]) {
      stream.setEncoding('utf8').on('data', (text) => {
        said += text;
      });
    }
    const ended = new Promise<number | null>((done) => app.on('close', done));
    const focused = /SessionState.*FOCUSED/;
    for (let i = 0; i < 2000 && !focused.test(said) && app.exitCode === null; i++) await pause(10);
    expect(said).toMatch(focused);
    await during();
    app.stdin.write('\n');
    const code = await ended;
    return { code, said };
  } finally {
    end();
    rmSync(folder, { recursive: true, force: true });
  }
}

it('an application as it is packed grabs by the glove, and its vibrations come back', async () => {
  const { peer } = rig;
  peer.wear('right', { values: { 'squeeze/value': 0, 'trigger/value': 0 } });
  const { code, said } = await hello(false, async () => {
    await peer.subscribed();
    expect(peer.requests.find(({ type }) => type === 'subscribe')?.app).toBe('HelloXR');
    await peer.inputs('right', { 'squeeze/value': 0.85, 'trigger/value': 0.3 });
    await pause(300);
    expect(peer.pulses()).toEqual([]);
    await peer.inputs('right', { 'squeeze/value': 0.95, 'trigger/value': 0.95 });
    for (let i = 0; i < 1000 && peer.pulses().length < 5; i++) await pause(10);
    for (const pulse of peer.pulses()) expect(pulse).toMatchObject({ hand: 'right', amplitude: 0.5 });
    expect(peer.pulses().length).toBeGreaterThanOrEqual(5);
    await peer.inputs('right', { 'squeeze/value': 0.2, 'trigger/value': 0.2 });
    await pause(200);
    const count = peer.pulses().length;
    await pause(300);
    expect(peer.pulses().length).toBe(count);
  });
  expect(code, said).toBe(0);
});

it('without the layer it hears nothing of a glove', async () => {
  const { peer } = rig;
  peer.wear('right', { values: { 'squeeze/value': 1, 'trigger/value': 1 } });
  const { code } = await hello(true, () => pause(500));
  expect(code).toBe(0);
  expect(peer.requests).toEqual([]);
});

/** The service, and the firmware itself on this machine with five strings and a motor in the palm, armed by its wearer. */
describe('with the firmware', () => {
  let host: HostGlove | undefined;
  let folder = '';
  afterEach(async () => {
    await stopAllServices();
    await host?.quit();
    rmSync(folder, { recursive: true, force: true });
  });

  interface Output {
    servo: string;
    effort: number;
    free: boolean;
    /** Times that the firmware has written to it. */
    writes: number;
  }

  /** What the outputs did while the hand closed with an application running. */
  async function grab(bare: boolean) {
    const fingers = ['thumb', 'index', 'middle', 'ring', 'little'];
    folder = mkdtempSync(join(tmpdir(), 'tautline-runtime-'));
    host = await startHostGlove(['--actuators', [...fingers, 'palm:vibration'].join(',')]);
    const { command, ask, pty } = host;
    const profile = `${hostGloveProfile(pty)}\n      - { role: palm, kind: vibration }\n`;
    const service = await startServiceProcess(profile, [], { XDG_RUNTIME_DIR: folder });
    const watcher = await service.connect();
    await watcher.ask({ type: 'subscribe', streams: ['inputs'] });
    const squeeze = () => Number(watcher.of('inputs').at(-1)?.values['/user/hand/right/input/squeeze/value']);
    const outputs = () => ask<Output[]>('servos');
    const motor = async () => (await outputs()).find(({ servo }) => servo === 'palm')!;
    const seen = { writesOpen: 0, writesClosed: 0, strength: 0, writesLater: 0, squeezed: 0, knocks: 0 };
    const { code } = await hello(
      bare,
      async () => {
        expect((await service.arm('right')).status).toBe(200);
        await pause(300);
        const before = await motor();
        for (const finger of fingers) await command(`ramp ${finger}.curl 0.35 400`);
        await pause(800);
        const open = await motor();
        seen.writesOpen = open.writes - before.writes;
        for (const finger of fingers) await command(`ramp ${finger}.curl 1 400`);
        const until = performance.now() + 3000;
        while (performance.now() < until) {
          const all = await outputs();
          const now = all.find(({ servo }) => servo === 'palm')!;
          if (all.some(({ servo, effort }) => servo !== 'palm' && effort > 0)) seen.knocks++;
          seen.strength = Math.max(seen.strength, now.effort);
          seen.writesClosed = now.writes - open.writes;
          seen.squeezed = Math.max(seen.squeezed, squeeze());
          await pause(5);
        }
        for (const finger of fingers) await command(`ramp ${finger}.curl 0.1 300`);
        await pause(800);
        const opened = await motor();
        await pause(500);
        seen.writesLater = (await motor()).writes - opened.writes;
        expect((await outputs()).every(({ free }) => free)).toBe(true);
      },
      folder,
    );
    watcher.ws.close();
    return { ...seen, code };
  }

  it('its vibrations arrive at the output of an armed glove, while it grabs and no longer', async () => {
    const seen = await grab(false);
    expect(seen).toMatchObject({ code: 0, writesOpen: 0, writesLater: 0 });
    // Fingers that have no motor of their own run into a stop meanwhile.
    expect(seen.knocks).toBeGreaterThan(5);
    // It asks for half of the strength.
    expect(seen.strength).toBe(127);
    // At 150 Hz there are two writes a period.
    expect(seen.writesClosed).toBeGreaterThan(20);
  });

  it('without the layer the same glove, armed and closed, feels nothing', async () => {
    const seen = await grab(true);
    expect(seen.squeezed).toBeGreaterThan(0.9);
    expect(seen).toMatchObject({
      code: 0,
      writesOpen: 0,
      writesClosed: 0,
      strength: 0,
      writesLater: 0,
      knocks: 0,
    });
  });
});
