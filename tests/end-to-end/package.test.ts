import { execFile } from 'node:child_process';
import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  realpathSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, sep } from 'node:path';
import { promisify } from 'node:util';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { type LockFile, productionPackages } from '../../scripts/licences.js';
import { type Running, start } from '../commands/cli.js';
import { App } from '../stream/app.js';

/**
 * What a user gets: the package is packed, installed into an empty prefix by npm, and does its work from there, away
 * from this source tree and its development dependencies. npm takes from its cache what it has.
 */
const execute = promisify(execFile);
const windows = process.platform === 'win32';
const npm = (...args: string[]) =>
  execute('npm', [...args, '--no-audit', '--no-fund', '--loglevel=error'], {
    shell: windows,
    maxBuffer: 1e7,
  });

let root: string;
let installed: string;
let packed: { filename: string; size: number; entryCount: number; files: { path: string }[] };
let service: Running | undefined;

beforeAll(async () => {
  root = realpathSync(mkdtempSync(join(tmpdir(), 'tautline-package-')));
  const prefix = join(root, 'prefix');
  mkdirSync(prefix);
  // dist/ is built by the setup of the tests.
  const { stdout } = await npm('pack', '--json', '--ignore-scripts', '--pack-destination', root);
  [packed] = JSON.parse(stdout);
  await npm('install', '--global', '--prefix', prefix, '--prefer-offline', join(root, packed.filename));
  installed = join(prefix, ...(windows ? [] : ['lib']), 'node_modules', 'tautline');
}, 300_000);
afterAll(async () => {
  service?.process.kill('SIGKILL');
  await service?.outcome;
  rmSync(root, { recursive: true, force: true });
}, 120_000);

/** The command as it stands in the PATH of whoever installed it. */
const tautline = (...args: string[]): Running =>
  start(args, [join(installed, 'dist', 'main.js')], { HOME: root });

describe('the package, installed', () => {
  it('holds what is needed and nothing else', () => {
    const paths = packed.files.map(({ path }) => path);
    for (const path of [
      'dist/main.js',
      'dist/third-party-licences.txt',
      'dist/page/index.html',
      'config/simulated.yaml',
      'config/udev/70-tautline.rules',
      'LICENSE',
      'CHANGELOG.md',
      'docs/install.md',
    ])
      expect(paths).toContain(path);
    expect(
      paths.filter((path) => /^(tests|scripts|\.ci)\/|\.map$|\.log$|^src\/(?!client\/)/.test(path)),
    ).toEqual([]);
    // docs/install.md states the size.
    expect(packed.size).toBeLessThan(1.7e6);
    expect(realpathSync(installed).startsWith(root + sep)).toBe(true);
  });

  it('brings no package that only development needs', () => {
    const { packages } = JSON.parse(readFileSync('package-lock.json', 'utf8')) as LockFile;
    const needed = new Set(productionPackages({ packages }).map(({ name }) => name));
    const locked = Object.keys(packages).map((place) => place.replace(/^.*node_modules\//, ''));
    const folder = join(installed, 'node_modules');
    const names = readdirSync(folder)
      .filter((name) => !name.startsWith('.'))
      .flatMap((name) =>
        name.startsWith('@') ? readdirSync(join(folder, name)).map((own) => `${name}/${own}`) : [name],
      );
    expect(names).toContain('serialport');
    // npm takes the newest that the ranges permit: a package that the lock file does not know may be among them.
    expect(names.filter((name) => locked.includes(name) && !needed.has(name))).toEqual([]);
    for (const name of Object.keys(packageJson.devDependencies)) expect(names).not.toContain(name);
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

  it('has its command where npm puts commands, and what apps import', async () => {
    const command = windows ? join(root, 'prefix', 'tautline.cmd') : join(root, 'prefix', 'bin', 'tautline');
    const help = await execute(command, ['--help'], { shell: windows });
    expect(help.stdout).toMatch(/^Usage: tautline /);
    const script = join(installed, '..', 'app.mjs');
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
