import { execFile, execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { Quaternion } from 'three';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { FINGER_BASE, FINGER_JOINTS } from '../../src/hand/joints.js';
import { run } from '../commands/cli.js';
import { need } from '../requirements.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The clients in other languages as their own tools take them in, from what is in the tarball and nothing else. */
const execute = promisify(execFile);
let root: string;
let clients: string;
let service: ServiceProcess;
beforeAll(async () => {
  root = mkdtempSync(join(tmpdir(), 'tautline-clients-'));
  execFileSync('npm', ['pack', '--ignore-scripts', '--silent', '--pack-destination', root]);
  execFileSync('tar', ['-xzf', join(root, `tautline-${packageJson.version}.tgz`), '-C', root]);
  clients = join(root, 'package/src/client');
  service = await startServiceProcess();
}, 240_000);
afterAll(async () => {
  await stopAllServices();
  rmSync(root, { recursive: true, force: true });
});

describe('CMake', () => {
  const configure = (wanted: string) => {
    const folder = join(root, `cmake-${wanted.replace(/\W/g, '-')}`);
    mkdirSync(folder, { recursive: true });
    writeFileSync(
      join(folder, 'CMakeLists.txt'),
      [
        'cmake_minimum_required(VERSION 3.14)',
        'project(hand CXX)',
        `find_package(tautline ${wanted} REQUIRED CONFIG PATHS "${clients}/cpp/cmake" NO_DEFAULT_PATH)`,
        // Of whoever includes this in a part of a larger program, too.
        `find_package(tautline ${wanted} REQUIRED CONFIG PATHS "${clients}/cpp/cmake" NO_DEFAULT_PATH)`,
        'add_executable(hand hand.cpp)',
        'target_link_libraries(hand PRIVATE tautline::client)',
      ].join('\n'),
    );
    writeFileSync(join(folder, 'hand.cpp'), readFileSync('tests/client/cpp/loop-link.cpp'));
    const { status, stderr } = spawnSync('cmake', ['-S', folder, '-B', join(folder, 'build')], {
      encoding: 'utf8',
    });
    return { status, stderr, build: join(folder, 'build') };
  };
  const [major, minor] = packageJson.version.split('.').map(Number);

  it('finds the headers, and a program is built with them', () => {
    need('cmake', 'cmake');
    const { status, stderr, build } = configure(`${major}.${minor}`);
    expect(stderr).toBe('');
    expect(status).toBe(0);
    execFileSync('cmake', ['--build', build]);
    expect(execFileSync(join(build, 'hand'), { encoding: 'utf8' })).toMatch(/^1 /);
  }, 120_000);

  it.each([
    ['of the next minor version', `${major}.${minor + 1}`, false],
    ['of the next major version', `${major + 1}.0`, false],
    ['of any version', '', true],
    ['of exactly this one', `${packageJson.version} EXACT`, true],
    ['of exactly another', `${major}.${minor}.999 EXACT`, false],
  ])('that wants one %s: %s', (_what, wanted, found) => {
    const { status, stderr } = configure(wanted);
    expect(status === 0).toBe(found);
    if (!found) expect(stderr).toContain(`version: ${packageJson.version}`);
  });
});

/** What pyright, in its strict mode, says of the package that is installed in this environment, and of programs that use it. */
async function typed(environment: string): Promise<void> {
  const folder = join(root, 'typed');
  mkdirSync(folder);
  const check = async (...args: string[]): Promise<string> => {
    // It asks the python of the path where packages are.
    const env = { ...process.env, PATH: `${join(environment, 'bin')}:${process.env.PATH}` };
    try {
      return (await execute(join(process.cwd(), 'node_modules/.bin/pyright'), args, { cwd: folder, env }))
        .stdout;
    } catch (error) {
      return (error as { stdout: string }).stdout;
    }
  };
  for (const name of ['tautline_client', 'tautline_grab']) {
    const said = await check('--verifytypes', name, '--ignoreexternal');
    expect(said).toMatch(/^Path of py\.typed file: ./m);
    expect(said).toContain('Type completeness score: 100%');
    writeFileSync(join(folder, `${name}.py`), readFileSync(`${clients}/python/${name}.py`));
  }
  writeFileSync(
    join(folder, 'pyrightconfig.json'),
    JSON.stringify({ include: ['*.py'], typeCheckingMode: 'strict', pythonVersion: '3.9' }),
  );
  // Ours, inside, and as an app sees it.
  expect(await check('-p', folder)).toMatch(/^0 errors, 0 warnings/m);
  for (const name of ['tautline_client', 'tautline_grab']) rmSync(join(folder, `${name}.py`));
  writeFileSync(
    join(folder, 'right.py'),
    [
      'from typing import Optional, Tuple',
      'from tautline_client import AsyncClient, Client, Hold, Pose',
      'from tautline_grab import Grab',
      'def tip(client: Client) -> Optional[Tuple[float, ...]]:',
      '    for message in client:',
      '        if isinstance(message, Pose):',
      '            return message.position("index-finger-tip")',
      '    return None',
      'async def ball(client: AsyncClient) -> Hold:',
      '    grab = Grab(client, "right", {"kind": "sphere", "radius": 0.035})',
      '    where = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0]',
      '    async for message in client:',
      '        grab.take(message)',
      '        if isinstance(message, Pose) and grab.update(where, message) == "letGo":',
      '            print(grab.velocity[0] + 1.0)',
      '    return client.hold({"type": "resist", "hand": "right", "fingers": {}})',
    ].join('\n'),
  );
  expect(await check('-p', folder)).toMatch(/^0 errors, 0 warnings/m);
  writeFileSync(
    join(folder, 'wrong.py'),
    [
      'from tautline_client import Client, Pose',
      'def wrong(client: Client, pose: Pose) -> str:',
      '    client.ask("subscribe")',
      '    pose.position(3)',
      '    return pose.radius("wrist")',
    ].join('\n'),
  );
  const lines = [...(await check('-p', folder)).matchAll(/wrong\.py:(\d+):\d+ - error/g)].map(
    ([, line]) => line,
  );
  expect(lines).toEqual(['3', '4', '5']);
}

describe('pip', () => {
  it('installs the Python client without network, and takes it away again', async () => {
    const place = join(root, 'venv');
    await execute('python3', ['-m', 'venv', place]);
    const pip = join(place, 'bin/pip');
    const python = join(place, 'bin/python');
    await execute(pip, ['install', '--quiet', '--no-index', `${clients}/python`]);
    // Nothing is left behind where it was installed from.
    expect(readdirSync(`${clients}/python`).sort()).toEqual(
      ['examples', 'pyproject.toml', 'tautline_build.py', 'tautline_client.py', 'tautline_grab.py'].sort(),
    );
    const program = [
      'import importlib.metadata, tautline_grab',
      'from tautline_client import Client, Pose, __version__',
      'print(importlib.metadata.version("tautline-client") == __version__)',
      `with Client("ws://127.0.0.1:${service.port}/stream") as client:`,
      '    client.ask({"type": "subscribe", "streams": ["joints"]})',
      '    print(next(m for m in client if isinstance(m, Pose)).hand)',
    ].join('\n');
    const { stdout } = await execute(python, ['-c', program], { cwd: root });
    expect(stdout).toBe('True\nright\n');
    const checked = await execute(pip, ['show', '--files', 'tautline-client']);
    expect(checked.stdout).toContain(`Version: ${packageJson.version}\n`);
    const module = await execute(python, ['-m', 'tautline_client', '--help'], { cwd: root });
    expect(module.stdout).toContain('--poses');
    await typed(place);
    await execute(pip, ['uninstall', '--quiet', '--yes', 'tautline-client']);
    await expect(execute(python, ['-c', 'import tautline_client'], { cwd: root })).rejects.toThrow(
      'No module named',
    );
  }, 240_000);

  it('plots the bend of every finger of a session, with NumPy and without', async () => {
    const session = join(root, 'grasp.ndjson');
    const exported = await run('export', 'config/sessions/grasp.mcap', '--to', 'ndjson', '--output', session);
    expect(exported.code).toBe(0);
    const plot = (picture: string, before = 'pass') => {
      const script = `${clients}/python/examples/curls.py`;
      const run = `import runpy, sys; ${before}; sys.argv = ["curls", sys.argv[1], sys.argv[2]]; runpy.run_path(${JSON.stringify(script)}, run_name="__main__")`;
      return execute('python3', ['-c', run, session, picture]);
    };
    const [a, b] = [join(root, 'a.svg'), join(root, 'b.svg')];
    const { stdout } = await plot(a);
    await plot(b, 'sys.modules["numpy"] = None');
    expect(readFileSync(a, 'utf8')).toBe(readFileSync(b, 'utf8'));
    const svg = readFileSync(a, 'utf8');
    const lines = [...svg.matchAll(/<polyline points="([^"]+)"/g)].map(([, points]) => points.split(' '));
    expect(lines).toHaveLength(5);
    expect(svg).toContain('closes on a ball');
    expect(svg).toContain('fill="#f4d6c6"');
    await execute('python3', ['-c', 'import sys, xml.dom.minidom as x; x.parse(sys.argv[1])', a]);

    // The greatest bend of every finger, by three.js.
    const poses = readFileSync(session, 'utf8')
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line))
      .filter(({ type, valid }) => type === 'joints' && valid)
      .map(({ poses: rows }: { poses: number[][] }) => rows);
    const printed = [...stdout.matchAll(/(\d+) to +(\d+)$/gm)].map(([, , most]) => Number(most));
    expect(printed).toHaveLength(5);
    for (const [finger, base] of FINGER_BASE.entries()) {
      const bones = Array.from({ length: FINGER_JOINTS[finger] - 1 }, (_, i) => base + i);
      const turns = (rows: number[][]) => bones.map((at) => new Quaternion(...rows[at].slice(3, 7)));
      const bend = (rows: number[][]) =>
        turns(rows).reduce(
          (sum, turn, i, all) => sum + (i ? (all[i - 1].angleTo(turn) * 180) / Math.PI : 0),
          0,
        );
      expect(Math.abs(Math.max(...poses.map(bend)) - printed[finger])).toBeLessThan(0.6);
      expect(lines[finger]).toHaveLength(poses.length);
    }
  }, 120_000);
});

describe('the C# package', () => {
  it('has a layout in which each folder names its assembly, and what it needs', () => {
    const read = (path: string) => JSON.parse(readFileSync(join(clients, 'csharp', path), 'utf8'));
    const { samples } = read('package.json') as { samples: { path: string }[] };
    for (const { path } of samples) {
      const inside = readdirSync(join(clients, 'csharp', path));
      const assembly = inside.find((file) => file.endsWith('.asmdef'))!;
      expect(read(join(path, assembly)).references).toEqual([read('Runtime/Tautline.Client.asmdef').name]);
    }
    const project = readFileSync(join(clients, 'csharp/Tautline.Client.csproj'), 'utf8');
    expect(project).toMatch(/<Compile Include="Runtime\/\*\*\/\*\.cs" \/>/);
    expect(project).toContain('netstandard2.1');
  });

  it('brings a component that moves a hand and a ball, in a stub of an engine', async () => {
    need('mono', 'mono-runtime', 'libmono-system4.0-cil');
    need('mcs', 'mono-mcs');
    const runtime = join(clients, 'csharp/Runtime');
    const sources = readdirSync(runtime).filter((file) => file.endsWith('.cs'));
    const program = join(root, 'engine.exe');
    await execute('mcs', [
      ...['-langversion:7.2', '-warn:4', '-warnaserror+', `-out:${program}`],
      ...sources.map((file) => join(runtime, file)),
      join(clients, 'csharp/Samples~/Hand/GloveHand.cs'),
      'tests/client/csharp/Engine.cs',
    ]);
    const { stdout } = await execute('mono', [program, `ws://127.0.0.1:${service.port}/stream`, '1500']);
    const said = stdout.trim().split('\n');
    expect(said.filter((line) => line.startsWith('warning'))).toEqual([expect.stringMatching(/To arm: /)]);
    const tips = new Set(said.filter((line) => line.startsWith('tip')));
    expect(tips.size).toBeGreaterThan(5);
    const ball = said.filter((line) => line.startsWith('ball'));
    expect(ball).toContain('ball Near');
    expect(ball).toContain('ball Held');
  }, 120_000);
});
