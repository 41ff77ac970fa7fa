/**
 * `npx tsx scripts/fleet-load.ts [--stations 1,4,16,64] [--seconds 15] [--rate 90] [--markdown]`: so many simulated
 * stations of two hands publish real records to mosquitto on this machine, a collector writes them, and a probe takes
 * every pose. After `npm run build`. Prints for each number what was delivered, what was lost, how late it came, and what
 * the processes took of the processor.
 */
import { type ChildProcess, fork, spawn } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { cpus, loadavg, tmpdir, userInfo } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { parseArgs } from 'node:util';

const { values } = parseArgs({
  options: {
    stations: { type: 'string', default: '1,4,16,64' },
    seconds: { type: 'string', default: '15' },
    rate: { type: 'string', default: '90' },
    markdown: { type: 'boolean', default: false },
  },
});
const seconds = Number(values.seconds);
const rateHz = Number(values.rate);
const PORT = 18_883;
const URL = `mqtt://127.0.0.1:${PORT}`;
const folder = mkdtempSync(join(tmpdir(), 'tautline-load-'));
const children: ChildProcess[] = [];
const TICKS_A_SECOND = 100;
/** User and system time of a process, s: proc(5). */
function cpuS({ pid }: ChildProcess): number {
  const fields = readFileSync(`/proc/${pid}/stat`, 'utf8')
    .replace(/^.*\) /, '')
    .split(' ');
  return (Number(fields[11]) + Number(fields[12])) / TICKS_A_SECOND;
}
const rssMb = ({ pid }: ChildProcess): number =>
  Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))![1]) / 1024;

type Answer = Record<string, number> & { ready?: boolean; trouble?: string };
const ask = (child: ChildProcess, word: string): Promise<Answer> =>
  new Promise((resolve) => {
    const take = (answer: Answer): void => {
      if (answer.trouble) {
        console.error(answer.trouble);
        return;
      }
      child.off('message', take);
      resolve(answer);
    };
    child.on('message', take);
    if (word) child.send(word);
  });
const script = (name: string, ...args: string[]): ChildProcess => {
  const child = fork(`scripts/fleet-load/${name}.ts`, args, { execArgv: ['--import', 'tsx'] });
  children.push(child);
  return child;
};

/** As docs/fleet.md says. */
const CONFIGURATION = [
  `listener ${PORT} 127.0.0.1`,
  `user ${userInfo().username}`,
  'allow_anonymous true',
  'max_inflight_messages 1000',
  'max_queued_messages 20000',
  'set_tcp_nodelay true',
];

interface Row {
  stations: number;
  given: number;
  delivered: number;
  lost: number;
  dropped: number;
  p50Ms: number;
  p99Ms: number;
  segments: number;
  written: number;
  segmentP50Ms: number;
  segmentP99Ms: number;
  cpu: Record<'broker' | 'stations' | 'collector' | 'probe', number>;
  rss: Record<'broker' | 'stations' | 'collector', number>;
  diskMbPerS: number;
}

async function cell(stations: number): Promise<Row> {
  writeFileSync(join(folder, 'mosquitto.conf'), `${CONFIGURATION.join('\n')}\n`);
  const broker = spawn('mosquitto', ['-c', join(folder, 'mosquitto.conf')], {
    stdio: 'ignore',
    env: { ...process.env, PATH: `${process.env.PATH}:/usr/sbin` },
  });
  children.push(broker);
  await wait(500);
  const output = join(folder, `out-${stations}`);
  const collector = spawn(
    process.execPath,
    ['dist/main.js', 'collect', '--broker', URL, '--output', output, '--name', 'c'],
    {
      stdio: ['ignore', 'pipe', 'inherit'],
    },
  );
  children.push(collector);
  let said = '';
  collector.stdout.on('data', (text) => {
    said += text;
  });
  while (!said.includes('Collecting as')) await wait(50);
  const probe = script('probe', URL);
  await ask(probe, '');
  const sender = script('stations', URL, '0', String(stations), String(rateHz));
  while (!(await ask(sender, 'count')).ready) await wait(200);
  await ask(sender, 'go');
  await wait(3000);

  const all = { broker, stations: sender, collector, probe };
  const before = Object.fromEntries(Object.entries(all).map(([name, child]) => [name, cpuS(child)]));
  await ask(probe, 'reset');
  const from = await ask(sender, 'count');
  const beganMs = performance.now();
  await wait(seconds * 1000);
  const to = await ask(sender, 'stop');
  const tookS = (performance.now() - beganMs) / 1000;
  const cpu = Object.fromEntries(
    Object.entries(all).map(([name, child]) => [name, (cpuS(child) - before[name]) / tookS]),
  ) as Row['cpu'];
  const rss = { broker: rssMb(broker), stations: rssMb(sender), collector: rssMb(collector) };
  // What is under way arrives.
  await wait(1500);
  const seen = await ask(probe, 'count');
  sender.send('end');
  await new Promise((resolve) => sender.once('exit', resolve));
  await wait(500);
  collector.kill('SIGINT');
  await new Promise((resolve) => collector.once('exit', resolve));
  const written = Number(/(\d+) segments, [\d.]+ MB\n$/.exec(said)?.[1]);
  const bytes = readdirSync(output, { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.mcap'))
    .reduce((sum, name) => sum + statSync(join(output, name)).size, 0);
  probe.send('end');
  broker.kill();
  await new Promise((resolve) => broker.once('exit', resolve));
  rmSync(output, { recursive: true });
  return {
    stations,
    given: to.given - from.given,
    delivered: seen.got,
    lost: seen.missing,
    dropped: to.dropped,
    p50Ms: seen.poseP50Ms,
    p99Ms: seen.poseP99Ms,
    segments: to.segments,
    written,
    segmentP50Ms: seen.segmentP50Ms,
    segmentP99Ms: seen.segmentP99Ms,
    cpu,
    rss,
    diskMbPerS: bytes / 1e6 / (tookS + 3),
  };
}

const rows: Row[] = [];
try {
  for (const stations of values.stations.split(',').map(Number)) rows.push(await cell(stations));
} finally {
  for (const child of children) child.kill('SIGKILL');
  rmSync(folder, { recursive: true, force: true });
}
const percent = (part: number): string => `${(100 * part).toFixed(0)} %`;
/** Poses and segments a second, with which a process dealt. */
const perMessage = (row: Row, part: number): string =>
  `${((1e6 * part) / (row.given / seconds + 2 * 4 * row.stations)).toFixed(0)} µs`;
if (values.markdown) {
  console.log(
    '| stations | poses a second | delivered | lost | pose p50 / p99 | segments given / written | segment p50 / p99 | broker | stations | collector | broker, per message | disk |',
  );
  console.log('|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|');
  for (const row of rows) {
    const {
      stations,
      given,
      delivered,
      lost,
      p50Ms,
      p99Ms,
      segments,
      written,
      segmentP50Ms,
      segmentP99Ms,
      cpu,
    } = row;
    console.log(
      `| ${stations} | ${(given / seconds).toFixed(0)} | ${((100 * delivered) / given).toFixed(2)} % | ${lost} | ${p50Ms.toFixed(2)} / ${p99Ms.toFixed(2)} ms | ${segments} / ${written} | ${segmentP50Ms.toFixed(2)} / ${segmentP99Ms.toFixed(2)} ms | ${percent(cpu.broker)} | ${percent(cpu.stations)} | ${percent(cpu.collector)} | ${perMessage(row, cpu.broker)} | ${row.diskMbPerS.toFixed(2)} MB/s |`,
    );
  }
} else
  console.log(
    JSON.stringify(
      { machine: { cpus: cpus().length, model: cpus()[0].model, load: loadavg() }, seconds, rateHz, rows },
      null,
      2,
    ),
  );
