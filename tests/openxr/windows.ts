import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, WINDOWS } from '../../scripts/openxr-layer.js';
import { need } from '../requirements.js';
import { Peer } from './peer.js';

/**
 * `npm run test:windows`: the layer's DLL under Wine, between a small loader and the test runtime. It must show the
 * hand that a service on this machine sends, complain of nothing, and let itself be unloaded.
 */
/** Where Debian has it. */
const WINE = process.env.WINE ?? '/usr/lib/wine/wine64';

const folder = mkdtempSync(join(tmpdir(), 'tautline-windows-'));
const peer = await Peer.start();
try {
  need(WINE, 'wine64');
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
  spawnSync(join(dirname(WINE), 'wineserver'), ['-k', '-w'], { env });
  process.stdout.write(said);
  const good = code === 0 && /^hand 0\.\d+ \d/m.test(said) && said.includes('complaints: none');
  const name = peer.requests.find(({ type }) => type === 'subscribe')?.app;
  console.log(
    good && name === 'windows application'
      ? 'The layer works under Wine.'
      : `FAILED: code ${code}, app ${name}`,
  );
  if (!good) process.exitCode = 1;
} finally {
  await peer.end();
  rmSync(folder, { recursive: true, force: true });
}
