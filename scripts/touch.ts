/**
 * Measures touch without hardware: many grasps of a thing by the host glove with physics.
 *
 *   npm run build && make -C src/firmware/host
 *   npx tsx scripts/touch.ts                    60 grasps a hand, time turned by hand: the same on every machine
 *   npx tsx scripts/touch.ts --live             the whole service in real time
 *   npx tsx scripts/touch.ts --trials 10 --lead 0 --each
 *
 * `--thing` is one of sphere, box, capsule and hull. `--lead` is the time from the app's first touch to the grasp, ms; `--latency` what bytes take each way, ms (not with
 * `--live`); `--strength` the most that a finger's muscles pull with at the string, N; `--each` prints every finger of
 * every grasp.
 */
import { parseArgs } from 'node:util';
import type { HandSide } from '../src/hand/joints.js';
import { startLiveBench } from '../tests/end-to-end/live-bench.js';
import { startSteadyBench } from '../tests/end-to-end/steady-bench.js';
import { THINGS } from '../tests/end-to-end/things.js';
import { graspOften, type Meeting, USUAL } from '../tests/end-to-end/touch-trials.js';
import { percentile } from './bench/figure.js';

const { values } = parseArgs({
  options: {
    trials: { type: 'string', default: '60' },
    thing: { type: 'string', default: 'sphere' },
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

if (!(values.thing in THINGS)) throw new Error(`--thing: one of ${Object.keys(THINGS).join(', ')}`);
const thing = THINGS[values.thing as keyof typeof THINGS];
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
    thing,
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

/** From here on a grasp is so quick that the thumb may be at the surface before its servo is, curl/s. */
const QUICK = 5;
const fromSurface = (one: Meeting): number => Math.abs(one.restMm);

const ROWS: [what: string, of: (one: Meeting) => number, bar?: string, only?: (one: Meeting) => boolean][] = [
  ['deepest in the thing, mm', (one) => one.overshootMm, 'bar: p95 < 6'],
  ['at rest in the thing, mm', (one) => one.restMm],
  ['at rest from the surface, either way, mm', fromSurface],
  ['  index to little finger', fromSurface, '', ({ finger }) => finger !== 'thumb'],
  ['  thumb', fromSurface, '', ({ finger, speed }) => finger === 'thumb' && speed < QUICK],
  [
    '  thumb, quicker than 5 curl/s',
    fromSurface,
    '',
    ({ finger, speed }) => finger === 'thumb' && speed >= QUICK,
  ],
  ['servo beyond the surface as the grasp begins, curl', (one) => one.placed - one.surface],
  ['servo beyond the surface at rest, curl', (one) => one.stop - one.surface],
  ['finger beyond the servo at rest (string), curl', (one) => one.rest - one.stop],
  ['finger drawn back from its deepest, curl', (one) => one.peak - one.rest],
  ['tension at most, N', (one) => one.peakTensionN],
  ['turns of a servo that holds, a second', (one) => one.reversalsPerS, 'bar: < 2'],
  ['release at the app -> firmware frees, ms', (one) => one.heardMs],
  ['release at the app -> the string holds nothing, ms', (one) => one.freeMs, 'bar: < 50'],
];

const print = (what: string, of: number[], bar = ''): void => {
  const [p50, p95, most] = [50, 95, 100].map((p) => percentile(of, p).toFixed(2).padStart(8));
  console.log(`${what.padEnd(60)}${p50}${p95}${most}  ${bar}`);
};
console.log(`${meetings.length} fingers met the ${values.thing} in ${values.trials} grasps a hand`);
console.log(['p50', 'p95', 'most'].reduce((line, head) => line + head.padStart(8), ' '.repeat(60)));
for (const [what, of, bar, only = () => true] of ROWS) {
  const values = meetings.filter(only).map(of);
  if (values.length > 0) print(what, values, bar);
}
if (placedMs.length > 0) print('first touch at the app -> servos in place, ms', placedMs);
