/**
 * How long each way to let go takes, at rest and under a flood, by the clock of our firmware: the worst of many.
 *
 *   npm run build && make -C src/firmware/host
 *   npx tsx scripts/letting-go.ts                     20 times each, as docs/safety.md has it
 *   npx tsx scripts/letting-go.ts --times 5 --only 'glove button' --markdown
 *
 * The flood: 64 connections that ask as often as one may, a third of them for hulls of 256 points that differ every
 * time, a third for boxes, a third for nothing that is known. It runs at the lowest priority, for on a machine of two
 * cores it would take the service's time besides its attention. Where what fails is an app, the flood's own shapes
 * are out of reach, so that nobody else holds a finger.
 */
import { parseArgs } from 'node:util';
import { DEFAULT_LIMITS } from '../src/stream/limits.js';
import { startRig, WAYS } from '../tests/end-to-end/letting-go-rig.js';
import { percentile } from './bench/figure.js';

const CONNECTIONS = 64;
/** As docs/safety.md has it. */
const BAR_MS = 300;

const { values } = parseArgs({
  options: {
    times: { type: 'string', default: '20' },
    only: { type: 'string' },
    flood: { type: 'string', default: 'rest,flood' },
    kinds: { type: 'string', default: 'mixed' },
    connections: { type: 'string', default: String(CONNECTIONS) },
    json: { type: 'boolean' },
  },
});
const times = Number(values.times);

interface Row {
  way: string;
  load: string;
  times: number;
  medianMs: number;
  worstMs: number;
  regrips: number;
}
const rows: Row[] = [];
for (const load of values.flood.split(',')) {
  for (const reach of load === 'rest' ? ['far'] : ['near', 'far']) {
    const ways = Object.entries(WAYS).filter(
      ([way, { byApp = false }]) =>
        (values.only === undefined || values.only === way) &&
        (load === 'rest' || byApp === (reach === 'far')),
    );
    if (ways.length === 0) continue;
    const rig = await startRig();
    // The first request of a process loads its HTTP client, which is no matter of the service's.
    await fetch(`http://127.0.0.1:${rig.service.port}/health`);
    await rig.hold();
    const flood =
      load === 'rest'
        ? undefined
        : await rig.flood(Number(values.connections), DEFAULT_LIMITS.messagesPerS, reach, values.kinds);
    flood?.process.stdout?.on('data', (text) => !values.json && process.stderr.write(text));
    flood?.process.stderr?.on('data', (text) => process.stderr.write(text));
    for (const [way, { fails, after }] of ways) {
      const taken: number[] = [];
      let regrips = 0;
      for (let n = 0; n < times; n++) {
        try {
          await rig.hold();
          const release = await rig.release(fails);
          taken.push(release.tookMs);
          regrips += release.regrips;
        } catch (error) {
          console.error(`${way}, ${load}: ${(error as Error).message}`);
          taken.push(Number.POSITIVE_INFINITY);
        }
        await after?.(rig);
      }
      const round = (ms: number): number => Math.round(ms);
      rows.push({
        way,
        load,
        times,
        medianMs: round(percentile(taken, 50)),
        worstMs: round(Math.max(...taken)),
        regrips,
      });
      console.error(JSON.stringify(rows.at(-1)));
    }
    await rig.end();
  }
}
if (values.json) console.log(JSON.stringify(rows, null, 2));
else {
  console.log('| what fails, or is asked | load | median, ms | worst, ms | gripped again |');
  console.log('| --- | --- | --- | --- | --- |');
  for (const { way, load, times: n, medianMs, worstMs, regrips } of rows) {
    console.log(`| ${way} | ${load} | ${medianMs} | ${worstMs} of ${n} | ${regrips} |`);
  }
}
process.exit(rows.some(({ worstMs }) => !(worstMs < BAR_MS)) ? 1 : 0);
