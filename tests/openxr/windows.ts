import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, WINDOWS } from '../../scripts/openxr-layer.js';
import { openxrSystem, readRegistration } from '../../src/install/openxr-registration.js';
import { emptyKeySteps, registerSteps, unregisterSteps } from '../../src/install/openxr-steps.js';
import type { Step } from '../../src/install/plan.js';
import { need } from '../requirements.js';
import { Peer } from './peer.js';

/**
 * `npm run test:windows`: the layer's DLL under Wine, between a small loader and the test runtime. It must show the
 * hand that a service on this machine sends, complain of nothing, and let itself be unloaded.
 */
/** Where Debian has it. */
const WINE = process.env.WINE ?? '/usr/lib/wine/wine64';

/** Where a machine has no Wine and may not install it, there is nothing to fail. */
const IF_POSSIBLE = process.argv.includes('--if-possible');
try {
  need(WINE, 'wine64');
  need(WINDOWS.compiler, ...WINDOWS.packages);
} catch (error) {
  console.log(`Not tested under Wine: ${(error as Error).message}`);
  process.exit(IF_POSSIBLE ? 0 : 1);
}

/** Registers the layer with the registry of Windows, as Wine has it, and takes that back. @returns what was seen */
async function register(
  layerFolder: string,
  reg: (args: readonly string[]) => { status: number | null; stdout: string },
): Promise<string> {
  const run = (_command: string, args: readonly string[]) => reg(args);
  const system = openxrSystem({ platform: 'win32', arch: 'x64', env: {}, run, layerFolder });
  const follow = (steps: Step[]) => {
    for (const step of steps) {
      if (step.kind !== 'run') throw new Error(`unexpected: ${step.kind}`);
      const { status, stdout } = run(step.command, step.args);
      if (status !== 0) throw new Error(`reg ${step.args.join(' ')}: ${status} ${stdout}`);
    }
  };
  try {
    for (let turn = 0; turn < 2; turn++) follow(await registerSteps(system, await readRegistration(system)));
    const on = await readRegistration(system);
    if (!on.loads || on.problems.length > 0) return JSON.stringify(on);
    follow(unregisterSteps(system, on));
    follow(emptyKeySteps(system));
    const off = await readRegistration(system);
    const keyLeft = reg(['query', 'HKCU\\SOFTWARE\\Khronos\\OpenXR', '/reg:64']).status === 0;
    return off.entries.length === 0 && !keyLeft
      ? 'registered and taken back'
      : JSON.stringify({ off, keyLeft });
  } catch (error) {
    return (error as Error).message;
  }
}

const folder = mkdtempSync(join(tmpdir(), 'tautline-windows-'));
const peer = await Peer.start();
try {
  const layer = buildLayer(WINDOWS, folder, packageJson.version);
  const compile = (...args: string[]) =>
    execFileSync(WINDOWS.compiler, ['-std=c++17', '-O1', '-static', '-idirafter', '/usr/include', ...args], {
      stdio: 'inherit',
    });
  const runtime = join(folder, 'runtime.dll');
  const sources = ['core', 'actions', 'spaces'].map((name) => `tests/openxr/runtime/${name}.cpp`);
  compile('-shared', ...sources, '-o', runtime);
  const loader = join(folder, 'loader.exe');
  compile('tests/openxr/windows-loader.cpp', '-o', loader);
  const prefix = join(folder, 'prefix');
  mkdirSync(prefix);
  const env = {
    PATH: process.env.PATH,
    HOME: folder,
    WINEPREFIX: prefix,
    WINEDEBUG: '-all',
    WINEARCH: 'win64',
  };
  peer.wear('right');
  const url = `ws://127.0.0.1:${peer.port}/stream`;
  const child = spawn(WINE, [loader, layer, runtime, url], { env, stdio: ['ignore', 'pipe', 'ignore'] });
  let said = '';
  child.stdout.on('data', (text) => {
    said += text;
  });
  const code = await new Promise((done) => child.on('close', done));
  const registered = await register(folder, (args) =>
    spawnSync(WINE, ['reg', ...args], { env, encoding: 'utf8' }),
  );
  spawnSync(join(dirname(WINE), 'wineserver'), ['-k', '-w'], { env });
  process.stdout.write(said);
  const good = code === 0 && /^hand 0\.\d+ \d/m.test(said) && said.includes('complaints: none');
  const name = peer.requests.find(({ type }) => type === 'subscribe')?.app;
  const program = peer.requests.find(({ type }) => type === 'openxr')?.program;
  const passed =
    good &&
    name === 'windows application' &&
    program === 'loader.exe' &&
    registered === 'registered and taken back';
  console.log(
    passed
      ? 'The layer works under Wine, and is registered and taken back.'
      : `FAILED: code ${code}, app ${name}, program ${program}, registry: ${registered}`,
  );
  if (!passed) process.exitCode = 1;
} finally {
  await peer.end();
  rmSync(folder, { recursive: true, force: true });
}
