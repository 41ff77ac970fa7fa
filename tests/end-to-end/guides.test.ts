import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { need } from '../requirements.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/**
 * The five-minute guides, followed as they stand: files are written as the guide has them, its commands are run in the
 * order of the guide, with the package as it is packed, and print what the guide says, but for the numbers.
 */
interface Step {
  kind: 'file' | 'commands' | 'output';
  name: string;
  text: string;
  line: number;
}

function stepsOf(path: string): Step[] {
  const text = readFileSync(path, 'utf8');
  const block = /(?:As `([^`\n]+)`:\n\n)?^```(\w+)\n([\s\S]*?)^```$/gm;
  return [...text.matchAll(block)].map(({ 1: name, 2: language, 3: body, index }) => ({
    kind: language === 'sh' ? 'commands' : language === 'text' ? 'output' : 'file',
    name: name ?? '',
    text: body,
    line: text.slice(0, index).split('\n').length,
  }));
}

let root: string;
let service: ServiceProcess;
beforeAll(async () => {
  need('cmake', 'cmake');
  need('mcs', 'mono-mcs');
  need('mono', 'mono-runtime', 'libmono-system4.0-cil');
  root = mkdtempSync(join(tmpdir(), 'tautline-guides-'));
  execFileSync('npm', ['pack', '--ignore-scripts', '--silent', '--pack-destination', root]);
  execFileSync('tar', ['-xzf', join(root, `tautline-${packageJson.version}.tgz`), '-C', root]);
  mkdirSync(join(root, 'bin'));
  const program = `#!/bin/sh\nexec "${process.execPath}" "${resolve('dist/main.js')}" "$@"\n`;
  writeFileSync(join(root, 'bin/tautline'), program, { mode: 0o755 });
  service = await startServiceProcess();
}, 240_000);
afterAll(async () => {
  await stopAllServices();
  rmSync(root, { recursive: true, force: true });
});

function run(commands: string, folder: string): Promise<{ code: number | null; out: string; err: string }> {
  const child = spawn('bash', ['-e'], {
    cwd: folder,
    stdio: 'pipe',
    env: {
      HOME: folder,
      LANG: 'C.UTF-8',
      PATH: `${join(root, 'bin')}${delimiter}${process.env.PATH}`,
      TAUTLINE: join(root, 'package'),
      TAUTLINE_STREAM: `ws://127.0.0.1:${service.port}/stream`,
      PIP_DISABLE_PIP_VERSION_CHECK: '1',
    },
  });
  let out = '';
  let err = '';
  child.stdout.setEncoding('utf8').on('data', (text) => {
    out += text;
  });
  child.stderr.setEncoding('utf8').on('data', (text) => {
    err += text;
  });
  child.stdin.end(commands);
  return new Promise((done) => child.on('close', (code) => done({ code, out, err })));
}

/** What is printed, with any number for a number, and what fills a line of a plot. */
const shapeOf = (text: string): string =>
  text
    .trim()
    .replaceAll(/\|.*\|/g, '|…|')
    .replaceAll(/-?\d+(\.\d+)?(e-?\d+)?/g, '#')
    .replaceAll(/ {2,}/g, ' ')
    .replaceAll(/(?<=grabbed at .*); to arm: .*/g, '')
    .replaceAll(/^To arm: .*\n?/gm, '');

describe.each(['docs/csharp.md', 'docs/cpp.md', 'docs/python.md'])('%s', (guide) => {
  const steps = stepsOf(guide);

  it('has programs for a hand and a ball, and says what they print', () => {
    expect(steps.filter(({ kind, name }) => kind === 'file' && name !== '').length).toBeGreaterThanOrEqual(2);
    expect(steps.filter(({ kind }) => kind === 'file' || kind === 'commands').length).toBeGreaterThan(3);
    for (const { kind, name, line } of steps) if (kind === 'file') expect(name, `line ${line}`).not.toBe('');
  });

  it('can be followed as it stands', async () => {
    const folder = join(root, guide.replaceAll(/\W/g, '-'));
    mkdirSync(folder);
    let printed = '';
    for (const { kind, name, text, line } of steps) {
      if (kind === 'file') {
        // The one address that stands in a program: that of a program for a fixed place.
        const here = text.replace('"127.0.0.1", 7117', `"127.0.0.1", ${service.port}`);
        writeFileSync(
          join(folder, name),
          name === 'CMakeLists.txt' ? here.split('add_executable(ball')[0] : here,
        );
        // With the next program, its lines.
        if (name === 'ball.cpp') {
          const cmake = steps.find((step) => step.name === 'CMakeLists.txt')!;
          writeFileSync(join(folder, cmake.name), cmake.text);
        }
      } else if (kind === 'commands') {
        const { code, out, err } = await run(text, folder);
        expect({ code, err }, `line ${line}`).toEqual({ code: 0, err: '' });
        printed = out;
      } else {
        const lines = shapeOf(text).split('\n');
        // Compilers print before it.
        expect(shapeOf(printed).split('\n').slice(-lines.length), `line ${line}`).toEqual(lines);
      }
    }
  }, 240_000);
});
