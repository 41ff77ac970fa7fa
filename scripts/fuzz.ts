/**
 * `npm run fuzz -- link|stream|files|profiles --count N --seed S`: hostile input, seeded and bounded. Prints
 * one JSON object; ends with 1 after a crash, or when one input kept the event loop for longer than 50 ms.
 */
import { parseArgs } from 'node:util';
import { fuzzFiles } from './fuzz/files.js';
import { fuzzLink } from './fuzz/link.js';
import { fuzzProfiles } from './fuzz/profiles.js';
import { fuzzStream } from './fuzz/stream.js';
import { BAR_MS, type FuzzReport } from './fuzz/watch.js';

const targets: Record<string, (count: number, seed: number) => FuzzReport | Promise<FuzzReport>> = {
  link: fuzzLink,
  stream: fuzzStream,
  files: fuzzFiles,
  profiles: fuzzProfiles,
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
console.log(JSON.stringify(report, null, 2));
process.exit(report.crashes.length > 0 || report.longestMs > BAR_MS ? 1 : 0);
