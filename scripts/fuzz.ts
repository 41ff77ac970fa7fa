/**
 * `npm run fuzz -- link|stream|files|profiles|fleet --count N --seed S`: hostile input, seeded and bounded. Prints
 * one JSON object; ends with 1 after a crash, or when one input kept the event loop for longer than 50 ms. After `stream`
 * come many hostile connections at once, over real sockets: it also ends with 1 when fingers that were let go of
 * meanwhile were not free within 300 ms (`npm run build` and `make -C src/firmware/host` first).
 */
import { parseArgs } from 'node:util';
import { fuzzCrowd, letGoInTime } from './fuzz/crowd.js';
import { fuzzFiles } from './fuzz/files.js';
import { fuzzFleet } from './fuzz/fleet.js';
import { fuzzLink } from './fuzz/link.js';
import { fuzzProfiles } from './fuzz/profiles.js';
import { fuzzStream } from './fuzz/stream.js';
import { BAR_MS, type FuzzReport } from './fuzz/watch.js';

const targets: Record<string, (count: number, seed: number) => FuzzReport | Promise<FuzzReport>> = {
  link: fuzzLink,
  stream: fuzzStream,
  files: fuzzFiles,
  profiles: fuzzProfiles,
  fleet: fuzzFleet,
};

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { count: { type: 'string', default: '10000' }, seed: { type: 'string', default: '1' } },
});
const [name] = positionals;
const count = Number(values.count);
const seed = Number(values.seed);
if (!(name in targets) || !(count > 0) || !Number.isInteger(seed)) {
  console.error(`Usage: npm run fuzz -- ${Object.keys(targets).join('|')} --count N --seed S`);
  process.exit(2);
}
const report = await targets[name](count, seed);
// A while of everything, and longer when more is asked for.
const times = Math.max(10, Math.round(count / 10_000));
const crowd = name === 'stream' ? await fuzzCrowd(times, seed) : undefined;
console.log(JSON.stringify(crowd ? { ...report, crowd } : report, null, 2));
const isSound = report.crashes.length === 0 && report.longestMs <= BAR_MS;
process.exit(isSound && (!crowd || letGoInTime(crowd)) ? 0 : 1);
