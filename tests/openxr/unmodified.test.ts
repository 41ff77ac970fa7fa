import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeAll, expect, it } from 'vitest';
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

async function hello(bare: boolean, during: () => Promise<void>) {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-hello-'));
  let end = () => {};
  try {
    const options = { runtimeFolder: rig.peer.runtimeFolder, offers: 'time vulkan anyprofile paced', bare };
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
