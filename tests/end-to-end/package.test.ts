import { execFile } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, realpathSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, sep } from 'node:path';
import { promisify } from 'node:util';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { type LockFile, productionPackages } from '../../scripts/licences.js';
import { buildLayer, LINUX, WINDOWS } from '../../scripts/openxr-layer.js';
import { type Installed, installPacked, type Packed, pack } from '../../scripts/release/package.js';
import { type Running, start } from '../commands/cli.js';
import { App } from '../stream/app.js';

/**
 * What a user gets: the package is packed, installed into an empty prefix by npm, from an empty cache and without
 * network, and does its work from there, away from this source tree and its development dependencies.
 */
const execute = promisify(execFile);
const windows = process.platform === 'win32';

let root: string;
let installed: Installed;
let packed: Packed;
let service: Running | undefined;

beforeAll(async () => {
  root = realpathSync(mkdtempSync(join(tmpdir(), 'tautline-package-')));
  // dist/ is built by the setup of the tests, but for the OpenXR layer.
  if (process.platform === 'linux') {
    for (const target of [LINUX, WINDOWS]) {
      buildLayer(target, join('dist/openxr', target.folder), packageJson.version);
    }
  }
  packed = await pack(root);
  installed = await installPacked(packed.file, join(root, 'prefix'));
}, 300_000);
afterAll(async () => {
  service?.process.kill('SIGKILL');
  await service?.outcome;
  rmSync(root, { recursive: true, force: true });
}, 120_000);

const tautline = (...args: string[]): Running =>
  start(args, [join(installed.folder, 'dist', 'main.js')], { HOME: root });

describe('the package, installed', () => {
  it('gives a maker the firmware of its version', async () => {
    const { code, stdout, stderr } = await tautline('firmware', 'write', join(root, 'my-firmware')).outcome;
    expect(stderr).toBe('');
    expect(code).toBe(0);
    expect(stdout).toMatch(/firmware \d+\.\d+ for an ESP32/);
    const at = join(root, 'my-firmware');
    for (const path of [
      'tautline_glove/tautline_glove.ino',
      'tautline_glove/pins.h',
      'TautlineGlove/glove.cpp',
    ])
      expect(readFileSync(join(at, path), 'utf8').length).toBeGreaterThan(500);
  });

  it('holds what is needed and nothing else', () => {
    const { paths } = packed;
    for (const path of [
      'dist/main.js',
      'dist/third-party-licences.txt',
      'dist/page/index.html',
      'dist/extension/manifest.json',
      'dist/extension/worker.js',
      'config/simulated.yaml',
      'config/udev/70-tautline.rules',
      'LICENSE',
      'CHANGELOG.md',
      'docs/install.md',
      'src/firmware/core/protocol_table.h',
      'src/firmware/esp32/tautline_glove/tautline_glove.ino',
      'src/firmware/avr/Makefile',
      'config/simulated-hands.yaml',
      'dist/demos/catch.html',
      'src/client/demos/draw.js',
      'src/client/demos/catch.js',
      'src/client/demos/squeeze.html',
    ])
      expect(paths).toContain(path);
    for (const [folder, library] of [
      ['linux-x64', 'libXrApiLayer_tautline_glove.so'],
      ['win32-x64', 'XrApiLayer_tautline_glove.dll'],
    ]) {
      expect(paths).toContain(`dist/openxr/${folder}/${library}`);
      expect(paths).toContain(`dist/openxr/${folder}/XrApiLayer_tautline_glove.json`);
    }
    expect(
      paths.filter((path) =>
        /^(tests|scripts|\.ci)\/|\.map$|\.log$|^src\/(?!client\/|firmware\/(?:core|esp32|avr|README\.md))/.test(
          path,
        ),
      ),
    ).toEqual([]);
    // docs/install.md states the size.
    expect(packed.size).toBeLessThan(5.0e6);
    expect(realpathSync(installed.folder).startsWith(root + sep)).toBe(true);
  });

  it('brings the packages that it needs, as they were tested, and none that only development needs', () => {
    const lock = JSON.parse(readFileSync('package-lock.json', 'utf8')) as LockFile;
    const needed = productionPackages(lock).filter(({ optional }) => !optional);
    const found = readdirSync(join(installed.folder, 'node_modules'), { recursive: true, encoding: 'utf8' })
      .map((path) => path.replaceAll('\\', '/'))
      .filter((path) => /(^|node_modules\/)(@[^/]+\/)?[^/@]+\/package\.json$/.test(path))
      .map((path) => {
        const { name, version } = JSON.parse(
          readFileSync(join(installed.folder, 'node_modules', path), 'utf8'),
        );
        return `${name} ${version}`;
      });
    expect(found.sort()).toEqual(needed.map(({ name, version }) => `${name} ${version}`).sort());
    expect(found.length).toBeGreaterThan(15);
  });

  it('gives a hand to apps, and the page', async () => {
    service = tautline('run', '--listen', '127.0.0.1:0', '--log-level', 'error');
    const said = await service.said('/stream');
    const port = Number(/:(\d+)\/stream/.exec(said)?.[1]);
    const app = await App.connect(port);
    app.send({ type: 'subscribe', streams: ['joints'], rateHz: 60 });
    const joints = await app.until((message) => message.type === 'joints' && message.valid);
    expect(joints).toHaveProperty('poses.length', 26);
    app.ws.close();
    const page = await fetch(`http://127.0.0.1:${port}/`);
    expect(page.status).toBe(200);
    expect(await page.text()).toMatch(/<title>.*Tautline/);
    const demo = await fetch(`http://127.0.0.1:${port}/demos/draw.html`);
    expect(demo.status).toBe(200);

    const examined = await tautline('doctor', '--json', '--url', `127.0.0.1:${port}`).outcome;
    const findings: { what: string; state: string }[] = JSON.parse(examined.stdout);
    expect(findings.filter(({ what }) => what === 'node' || what === 'service')).toEqual([
      expect.objectContaining({ what: 'node', state: 'fine' }),
      expect.objectContaining({ what: 'service', state: 'fine' }),
    ]);
    expect(examined.code).toBe(findings.some(({ state }) => state === 'wrong') ? 1 : 0);

    service.process.kill('SIGTERM');
    expect(await service.outcome).toMatchObject({ code: 0, stderr: '' });
  }, 120_000);

  it.runIf(process.platform === 'linux' && process.arch === 'x64')(
    'registers its OpenXR layer from where it is installed, and takes it back',
    async () => {
      const run = (...args: string[]) => tautline('openxr', ...args).outcome;
      expect(await run('on')).toMatchObject({ code: 0, stderr: '' });
      const { registration } = JSON.parse((await run('status', '--json', '--url', '127.0.0.1:1')).stdout);
      expect(registration).toMatchObject({ loads: true, problems: [] });
      expect(registration.entries[0].library.startsWith(installed.folder)).toBe(true);
      expect((await run('off')).code).toBe(0);
    },
    60_000,
  );

  it('has its command where npm puts commands, and what apps import', async () => {
    const help = await execute(installed.command, ['--help'], { shell: windows });
    expect(help.stdout).toMatch(/^Usage: tautline /);
    const script = join(installed.folder, '..', 'app.mjs');
    writeFileSync(
      script,
      `import { JOINT_NAMES } from 'tautline/hand';
       import { connect } from 'tautline/client';
       import { AppMessages } from 'tautline/protocol';
       console.log(JOINT_NAMES.length, typeof connect, typeof AppMessages);`,
    );
    expect((await execute(process.execPath, [script])).stdout).toBe('26 function object\n');
  }, 60_000);
});
