/**
 * Measures touch without hardware: many grasps of a ball by the host glove with physics.
 *
 *   npm run build && make -C src/firmware/host
 *   npx tsx scripts/touch.ts                    60 grasps a hand, time turned by hand: the same on every machine
 *   npx tsx scripts/touch.ts --live             the whole service in real time
 *   npx tsx scripts/touch.ts --trials 10 --lead 0 --each
 *
 * `--lead` is the time from the app's first touch to the grasp, ms; `--latency` what bytes take each way, ms (not with
 * `--live`); `--strength` the most that a finger's muscles pull with at the string, N; `--each` prints every finger of
 * every grasp.
 */
import { parseArgs } from 'node:util';
import type { HandSide } from '../src/hand/joints.js';
import { startLiveBench } from '../tests/end-to-end/live-bench.js';
import { startSteadyBench } from '../tests/end-to-end/steady-bench.js';
import { graspOften, type Meeting, USUAL } from '../tests/end-to-end/touch-trials.js';
import { percentile } from './bench/figure.js';

const { values } = parseArgs({
  options: {
    trials: { type: 'string', default: '60' },
    seed: { type: 'string', default: '1' },
    lead: { type: 'string', default: String(USUAL.leadMs) },
    latency: { type: 'string', default: '3' },
    rate: { type: 'string', default: '250' },
    strength: { type: 'string', default: '5' },
    drive: { type: 'string', default: 'hobby' },
    live: { type: 'boolean', default: false },
    each: { type: 'boolean', default: false },
  },
});

const meetings: Meeting[] = [];
const placedMs: number[] = [];
for (const side of ['right', 'left'] satisfies HandSide[]) {
  const args = ['--rate', values.rate, '--drive', values.drive];
  const strengthN = Number(values.strength);
  const bench = values.live
    ? await startLiveBench(side, args, strengthN)
    : await startSteadyBench(side, args, strengthN, Number(values.latency));
  const outcome = await graspOften(bench, {
    trials: Number(values.trials),
    seed: Number(values.seed),
    leadMs: Number(values.lead),
    mostInterrupted: Number(values.trials),
  });
  await bench.end();
  meetings.push(...outcome.meetings);
  placedMs.push(...outcome.placedMs);
  if (outcome.interrupted.length > 0) {
    console.log(
      `${side}: ${outcome.interrupted.length} grasps do not count: ${outcome.interrupted.join(' ')}`,
    );
  }
}

if (values.each) console.table(meetings.map((one) => Object.fromEntries(Object.entries(one).map(round))));

function round([name, value]: [string, unknown]): [string, unknown] {
  return [name, typeof value === 'number' ? Math.round(value * 1000) / 1000 : value];
}

const row = (what: string, of: number[], bar = ''): void => {
  const [p50, p95, most] = [50, 95, 100].map((p) => percentile(of, p).toFixed(2).padStart(8));
  console.log(`${what.padEnd(58)}${p50}${p95}${most}  ${bar}`);
};
console.log(`${meetings.length} fingers met the ball in ${values.trials} grasps a hand`);
console.log(`${''.padEnd(58)}${'p50'.padStart(8)}${'p95'.padStart(8)}${'most'.padStart(8)}`);
row(
  'deepest in the ball, mm',
  meetings.map((m) => m.overshootMm),
  'bar: p95 < 6',
);
row(
  'at rest in the ball, mm',
  meetings.map((m) => m.restMm),
);
row(
  'servo beyond the surface as the grasp begins, curl',
  meetings.map((m) => m.placed - m.surface),
);
row(
  'servo beyond the surface at rest, curl',
  meetings.map((m) => m.stop - m.surface),
);
row(
  'finger beyond the servo at most (string), curl',
  meetings.map((m) => m.peak - m.stop),
);
row(
  'tension at most, N',
  meetings.map((m) => m.peakTensionN),
);
row(
  'turns of a servo that holds, a second',
  meetings.map((m) => m.reversalsPerS),
  'bar: < 2',
);
row(
  'release at the app -> firmware frees, ms',
  meetings.map((m) => m.heardMs),
);
row(
  'release at the app -> the string holds nothing, ms',
  meetings.map((m) => m.freeMs),
  'bar: < 50',
);
if (placedMs.length > 0) row('first touch at the app -> servos in place, ms', placedMs);
