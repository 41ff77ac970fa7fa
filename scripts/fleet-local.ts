/**
 * `npx tsx scripts/fleet-local.ts [--seconds 20] [--times 20] [--backwards] [--markdown]`: what publishing costs the gloves of a station.
 * Services run side by side, each with a glove of our firmware: one without a fleet section, one that publishes
 * everything, one whose broker stands still, one whose broker is not there. After `npm run build` and
 * `make -C src/firmware/host`. Prints the time from sample to app, the time to let go, and the memory of each.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir, userInfo } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { WebSocket } from 'ws';
import { startRig, WAYS } from '../tests/end-to-end/letting-go-rig.js';
import { percentile } from './bench/figure.js';
import { Bed, costOf, pause } from './load/bed.js';
import { monotonicUs } from './load/clock.js';

const { values } = parseArgs({
  options: {
    seconds: { type: 'string', default: '20' },
    times: { type: 'string', default: '20' },
    backwards: { type: 'boolean', default: false },
    markdown: { type: 'boolean', default: false },
  },
});
/** At first an engine still compiles what it runs. */
const WARM_UP_S = 15;
const RATE_HZ = 250;
const PORTS = { live: 18_884, stalled: 18_885, away: 18_886 };
const CELLS = ['off', 'on', 'stalled', 'away'] as const;
type Cell = (typeof CELLS)[number];

const folder = mkdtempSync(join(tmpdir(), 'tautline-local-'));
const brokers: ChildProcess[] = [];
async function broker(port: number): Promise<ChildProcess> {
  const file = join(folder, `${port}.conf`);
  writeFileSync(file, `listener ${port} 127.0.0.1\nuser ${userInfo().username}\nallow_anonymous true\n`);
  const child = spawn('mosquitto', ['-c', file], {
    stdio: 'ignore',
    env: { ...process.env, PATH: `${process.env.PATH}:/usr/sbin` },
  });
  brokers.push(child);
  await pause(500);
  return child;
}
const fleetOf = (cell: Cell, name: string): string[] => {
  if (cell === 'off') return [];
  const port = cell === 'on' ? PORTS.live : PORTS[cell];
  return [
    `fleet: { broker: "mqtt://127.0.0.1:${port}", site: lab, station: ${name}-${cell}, rateHz: 90, publish: [health, joints, inputs, resistance, raw] }`,
  ];
};

interface Row {
  cell: Cell;
  poses: number;
  p50Us: number;
  p99Us: number;
  residentMb: number;
  cpuPart: number;
  releaseMedianMs: number;
  releaseWorstMs: number;
}
const rows = new Map<Cell, Partial<Row>>(CELLS.map((cell) => [cell, { cell }]));

async function measurePoses(): Promise<void> {
  const bed = new Bed();
  try {
    const stalled = await broker(PORTS.stalled);
    const measured = [];
    // Who begins first is not to be whom it is about.
    const order = values.backwards ? CELLS.toReversed() : CELLS;
    for (const [i, cell] of order.entries()) {
      // Not one rate, or samples would meet at the same place by chance for a whole run.
      const glove = await bed.glove('right', RATE_HZ + i);
      const { url, pid } = await bed.service([glove], fleetOf(cell, 'pose'));
      const socket = new WebSocket(url, 'tautline.binary.v1', { perMessageDeflate: false });
      await once(socket, 'open');
      const delays: number[] = [];
      let offsetUs: number | undefined;
      socket.on('message', (data: Buffer, isBinary) => {
        const arrival = monotonicUs();
        if (isBinary) {
          if (offsetUs !== undefined)
            delays.push(arrival - glove.clockUs - (data.readDoubleLE(8) - offsetUs));
          return;
        }
        const message = JSON.parse(data.toString());
        if (message.type === 'health') offsetUs = message.clock?.offsetUs;
      });
      socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints', 'health'], hands: ['right'] }));
      measured.push({ cell, pid, delays });
    }
    await pause(3000);
    stalled.kill('SIGSTOP');
    await pause(WARM_UP_S * 1000);
    const before = measured.map(({ pid, delays }) => {
      delays.length = 0;
      return costOf(pid);
    });
    await pause(Number(values.seconds) * 1000);
    for (const [i, { cell, pid, delays }] of measured.entries()) {
      const cost = costOf(pid);
      Object.assign(rows.get(cell)!, {
        poses: delays.length,
        p50Us: percentile(delays, 50),
        p99Us: ordinaryP99(delays),
        residentMb: cost.residentMb,
        cpuPart: (cost.cpuUs - before[i].cpuUs) / (Number(values.seconds) * 1e6),
      });
    }
    stalled.kill('SIGCONT');
    stalled.kill();
  } finally {
    await bed.close();
  }
}

/**
 * p99 of each second, and of these the median: a machine that stands still for a tenth of a second now and then, for all
 * services alike, would be all that is measured otherwise.
 */
function ordinaryP99(delays: readonly number[]): number {
  const seconds: number[] = [];
  for (let at = 0; at + RATE_HZ <= delays.length; at += RATE_HZ) {
    seconds.push(percentile(delays.slice(at, at + RATE_HZ), 99));
  }
  return percentile(seconds, 50);
}

async function measureReleases(): Promise<void> {
  const stalled = await broker(PORTS.stalled);
  const rigs = [];
  for (const cell of CELLS)
    rigs.push({ cell, rig: await startRig(fleetOf(cell, 'force')), tookMs: [] as number[] });
  await pause(3000);
  stalled.kill('SIGSTOP');
  for (let n = 0; n < Number(values.times); n++) {
    // In turns: whatever else the machine does meets all of them.
    for (const { rig, tookMs } of rigs) {
      await rig.hold();
      tookMs.push((await rig.release(WAYS['disarm on the stream'].fails)).tookMs);
    }
  }
  for (const { cell, rig, tookMs } of rigs) {
    Object.assign(rows.get(cell)!, {
      releaseMedianMs: percentile(tookMs, 50),
      releaseWorstMs: Math.max(...tookMs),
    });
    await rig.end();
  }
  stalled.kill('SIGCONT');
}

try {
  await broker(PORTS.live);
  await measurePoses();
  if (Number(values.times) > 0) await measureReleases();
} finally {
  for (const child of brokers) child.kill('SIGKILL');
  rmSync(folder, { recursive: true, force: true });
}
const all = [...rows.values()] as Row[];
if (values.markdown) {
  console.log('| fleet | sample to app p50 | p99 | of off | resident | processor | let go, median / worst |');
  console.log('|---|---:|---:|---:|---:|---:|---:|');
  for (const row of all) {
    console.log(
      `| ${row.cell} | ${row.p50Us.toFixed(0)} µs | ${row.p99Us.toFixed(0)} µs | ${(row.p99Us / all[0].p99Us).toFixed(2)} | ${row.residentMb.toFixed(0)} MB | ${(100 * row.cpuPart).toFixed(1)} % | ${row.releaseMedianMs?.toFixed(1)} / ${row.releaseWorstMs?.toFixed(1)} ms |`,
    );
  }
} else console.log(JSON.stringify(all, null, 2));
process.exit();
