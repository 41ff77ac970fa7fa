import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { WINDOWS } from '../../scripts/openxr-layer.js';
import { startServiceProcess } from '../end-to-end/service.js';
import { linesOf } from './lines.js';

/**
 * The C++ client for frame loops, built for Windows, under Wine: it makes of the vectors what the build for this machine
 * makes of them, and holds a finger of a real service. Comes after tests/openxr/windows.ts, which looks for Wine.
 */
const WINE = process.env.WINE ?? '/usr/lib/wine/wine64';
const FLAGS = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-Isrc/client/cpp'];

const folder = mkdtempSync(join(tmpdir(), 'tautline-client-windows-'));
const env = { PATH: process.env.PATH, HOME: folder, WINEPREFIX: join(folder, 'prefix'), WINEDEBUG: '-all' };
mkdirSync(env.WINEPREFIX);
const fail = (why: string): void => {
  console.log(`FAILED: the C++ client under Wine: ${why}`);
  process.exitCode = 1;
};

type Vectors = Record<'records' | 'axes' | 'colliders' | 'grabs', Record<string, never>[]>;
function lines(): string[] {
  const { records, axes } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8')) as Vectors;
  const numbers = ({ stream }: Record<string, never>) => {
    const { position, orientation } = stream as Record<string, number[]>;
    return [...position, ...orientation].join(' ');
  };
  return [
    ...records.map(({ hex }) => `linked ${hex}`),
    ...axes.map((one) => `axes ${(one.axes as string[]).join(' ')} ${one.unitsPerMetre} ${numbers(one)}`),
  ];
}

try {
  const build = (compiler: string, source: string, out: string, ...more: string[]) => {
    execFileSync(compiler, [...FLAGS, `tests/client/cpp/${source}.cpp`, '-o', join(folder, out), ...more], {
      stdio: 'inherit',
    });
    return join(folder, out);
  };
  const conformance = build(
    WINDOWS.compiler,
    'conformance',
    'conformance.exe',
    '-fno-exceptions',
    '-static',
    '-lws2_32',
  );
  const native = build(process.env.CXX ?? 'g++', 'conformance', 'conformance');
  const input = `${lines().join('\n')}\n`;
  const there = spawnSync(WINE, [conformance], { env, input, encoding: 'utf8' }).stdout.replaceAll('\r', '');
  const here = spawnSync(native, { input, encoding: 'utf8' }).stdout;
  if (there.split('\n').length < 20 || there !== here) fail('it makes something else of the vectors');

  const program = build(WINDOWS.compiler, 'loop', 'loop.exe', '-fno-exceptions', '-static', '-lws2_32');
  const service = await startServiceProcess();
  const loop = spawn(WINE, [program, `ws://127.0.0.1:${service.port}/stream`], {
    env,
    stdio: ['pipe', 'pipe', 'ignore'],
  });
  const said = linesOf(loop.stdout);
  const says = async (line: RegExp) => {
    const until = performance.now() + 30_000;
    while (!said.some((one) => line.test(one))) {
      if (performance.now() > until)
        throw new Error(`it does not say ${line}, but: ${said.slice(-3).join(', ')}`);
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  };
  const ended = new Promise<number | null>((resolve) => loop.on('close', resolve));
  try {
    await says(/^open$/);
    await says(/^pose \d+ /);
    loop.stdin.write('stop 0.3\n');
    await says(/^hold paused$/);
    await service.arm();
    await says(/^hold held$/);
    const report = await service.connect();
    await report.ask({ type: 'subscribe', streams: ['resistance'] });
    await report.until((m) => m.type === 'resistance' && (m.fingers.index?.effort ?? 0) > 0);
    loop.stdin.write('free\n');
    await report.until((m) => m.type === 'resistance' && m.fingers.index?.effort === 0);
    report.ws.close();
    loop.stdin.write('end\n');
    if ((await ended) !== 0) fail('it does not end well');
  } finally {
    loop.kill('SIGKILL');
    await service.stop();
  }
  if (!process.exitCode) console.log('The C++ client works under Wine.');
} catch (error) {
  fail((error as Error).message);
} finally {
  spawnSync(join(dirname(WINE), 'wineserver'), ['-k', '-w'], { env });
  rmSync(folder, { recursive: true, force: true });
}
