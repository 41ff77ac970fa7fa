/**
 * `npx tsx scripts/client-costs.ts [--write]`: what each client costs an app, as a table; after `npm run build`. It follows a
 * hand and takes a ball with the simulated glove, at 90 and at 500 Hz, and ends the service to see how fast it comes back.
 * --write puts the table into docs/write-an-app.md. On a machine that does nothing else: five minutes.
 */
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { availableParallelism, cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { linesOf as printedBy } from '../tests/client/lines.js';
import { compileCsharp } from '../tests/client/mono.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from '../tests/end-to-end/service.js';
import { type Language, linesOf, PROGRAMS } from './client-costs/lines.js';

const DOCUMENT = 'docs/write-an-app.md';
const SECONDS = 10;
const RESTARTS = 7;
/** As long as systemd waits before it starts the service again. */
const DOWN_MS = 2000;

const folder = mkdtempSync(join(tmpdir(), 'tautline-costs-'));
const sleep = (ms: number) => new Promise<void>((resolve) => setTimeout(resolve, ms));

const HERE = 'scripts/client-costs';
const COMMANDS: Record<Language, () => [string, ...string[]]> = {
  JavaScript: () => [process.execPath, `${HERE}/measure.mjs`],
  'C#': () => {
    compileCsharp(`${HERE}/Measure.cs`, join(folder, 'measure.exe'));
    return ['mono', join(folder, 'measure.exe')];
  },
  'C++': () => {
    const out = join(folder, 'measure');
    execFileSync(process.env.CXX ?? 'g++', [
      ...['-std=c++17', '-O2', '-pthread', '-Isrc/client/cpp'],
      ...[`${HERE}/measure.cpp`, '-o', out],
    ]);
    return [out];
  },
  Python: () => ['python3', `${HERE}/measure.py`],
};

interface Report {
  cpuS: number;
  wallS: number;
  frames: number;
  poses: number;
  allocatedBytes: number | null;
}

function start([program, ...args]: [string, ...string[]], port: number, rate: number) {
  const child = spawn(program, [...args, `ws://127.0.0.1:${port}/stream`, `${rate}`], {
    stdio: ['pipe', 'pipe', 'inherit'],
    env: { ...process.env, PYTHONPATH: 'src/client/python' },
  });
  const said = printedBy(child.stdout);
  return {
    /** Waits for a line that comes after those that are there. */
    async says(fits: (line: string) => boolean, from: number): Promise<string> {
      const until = performance.now() + 30_000;
      for (;;) {
        const line = said.slice(from).find(fits);
        if (line !== undefined) return line;
        if (performance.now() > until) throw new Error(`${program}: nothing came for 30 s`);
        await sleep(1);
      }
    },
    count: () => said.length,
    tell: (line: string) => child.stdin.write(`${line}\n`),
    kill: () => child.kill('SIGKILL'),
  };
}

async function cost(command: [string, ...string[]], port: number, rate: number): Promise<Report> {
  const app = start(command, port, rate);
  try {
    await app.says((line) => line === 'valid', 0);
    await sleep(4000);
    app.tell('begin');
    await sleep(SECONDS * 1000);
    app.tell('report');
    return JSON.parse(await app.says((line) => line.startsWith('{'), 0)) as Report;
  } finally {
    app.kill();
  }
}

/** From when the service listens again until the app has a valid hand, ms. */
async function recovery(command: [string, ...string[]]): Promise<number[]> {
  let service: ServiceProcess = await startServiceProcess();
  const { port } = service;
  const app = start(command, port, 90);
  const times: number[] = [];
  try {
    await app.says((line) => line === 'valid', 0);
    for (let i = 0; i < RESTARTS; i++) {
      await sleep(1000);
      const from = app.count();
      service.process.kill('SIGKILL');
      await service.outcome;
      await sleep(DOWN_MS);
      service = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`]);
      const listening = performance.now();
      await app.says((line) => line === 'valid', from);
      times.push(performance.now() - listening);
    }
  } finally {
    app.kill();
    await service.stop();
  }
  return times.sort((a, b) => a - b);
}

const percent = ({ cpuS, wallS }: Report): string => `${((100 * cpuS) / wallS).toFixed(1)} %`;
const seconds = (ms: number): string => (ms / 1000).toFixed(1);
/** Of the library alone, from the bytes to the app: what the socket allocates is not ours; tests/client/allocation.test.ts has both. */
function allocatedInJavaScript(): string {
  const flags = ['--expose-gc', '--min-semi-space-size=64', '--max-semi-space-size=64'];
  const script = 'tests/client/javascript/allocation.mjs';
  const printed = execFileSync(process.execPath, [...flags, script, '200000', 'reuse', 'buffer'], {
    encoding: 'utf8',
  });
  return `${Math.round(JSON.parse(printed).bytes)} bytes, with \`reusePoses\``;
}
const allocated = ({ allocatedBytes, poses }: Report): string =>
  allocatedBytes === null ? 'not counted' : `${Math.round(allocatedBytes / poses)} bytes`;

const rows: string[] = [];
try {
  const service = await startServiceProcess();
  for (const language of Object.keys(PROGRAMS) as Language[]) {
    const command = COMMANDS[language]();
    const slow = await cost(command, service.port, 90);
    const fast = await cost(command, service.port, 500);
    const times = await recovery(command);
    rows.push(
      `| ${[
        language,
        linesOf(language, 'hand'),
        linesOf(language, 'ball'),
        language === 'JavaScript' ? allocatedInJavaScript() : allocated(fast),
        percent(slow),
        percent(fast),
        `${seconds(times[times.length >> 1])} s, at most ${seconds(times.at(-1)!)} s`,
      ].join(' | ')} |`,
    );
    console.log(rows.at(-1), JSON.stringify({ slow, fast, times: times.map(Math.round) }));
  }
} finally {
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
}
const table = [
  '| | lines to a moving hand | lines to a ball that is taken | allocated for each pose | processor at 90 Hz | at 500 Hz | back after the service restarts |',
  '|---|---|---|---|---|---|---|',
  ...rows,
].join('\n');
console.log(`\n${table}\n\n${availableParallelism()} × ${cpus()[0].model}`);
if (process.argv.includes('--write')) {
  const text = readFileSync(DOCUMENT, 'utf8');
  writeFileSync(
    DOCUMENT,
    text.replace(/<!-- costs -->[\s\S]*<!-- \/costs -->/, `<!-- costs -->\n${table}\n<!-- /costs -->`),
  );
}
