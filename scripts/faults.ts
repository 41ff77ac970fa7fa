/**
 * Every kind of fault on every channel, put into the firmware on this computer: what the check and the running service
 * make of it. Time is turned by hand, so it takes a minute or two, and the same seeds give the same figures anywhere.
 *
 *   make -C src/firmware/host
 *   npx tsx scripts/faults.ts [--seeds 2] [--minutes 10]
 *
 * Printed are the confusion table of the guided check, how long the service takes to name what a signal shows by
 * itself, and every alarm on healthy hands.
 */
import { parseArgs } from 'node:util';
import { FINGERS } from '../src/hand/joints.js';
import {
  confusion,
  confusionLines,
  guidedCheck,
  healthyHand,
  LIVE_FAULTS,
  liveFault,
} from '../tests/end-to-end/fault-trials.js';
import { percentile } from './bench/figure.js';

const { values } = parseArgs({
  options: {
    seeds: { type: 'string', default: '2' },
    minutes: { type: 'string', default: '10' },
  },
});
const seeds = Array.from({ length: Number(values.seeds) }, (_, k) => k + 1);

console.log('The guided check, over every channel and seed:');
const table = await confusion(seeds);
for (const line of [...confusionLines(table), ...table.falseAlarms, ...table.unheard]) console.log(line);

console.log('\nThe running service, from the first faulty sample, ms (p50, most):');
console.log(`${''.padEnd(34)}${'named'.padStart(14)}${'finger freed'.padStart(16)}  first named`);
for (const [name, fault] of Object.entries(LIVE_FAULTS)) {
  const outcomes = (
    await Promise.all(
      FINGERS.map(async (_, finger) => {
        const each = [];
        for (const seed of seeds) each.push(await liveFault(fault(finger, seed), finger, 10 * seed + finger));
        return each;
      }),
    )
  ).flat();
  const wanted = name.split(/[ ,]/)[0];
  const of = (ms: number[]) => `${percentile(ms, 50).toFixed(0)}, ${Math.max(...ms).toFixed(0)}`;
  const named = of(
    outcomes.map(({ named: list }) => list.find(({ kind }) => kind === wanted)?.ms ?? Infinity),
  );
  const freed = of(outcomes.map(({ freedMs }) => freedMs)).replaceAll('Infinity', '-');
  const first = [...new Set(outcomes.map(({ named: list }) => list[0]?.kind ?? 'nothing'))].join(', ');
  console.log(`${name.padEnd(34)}${named.padStart(14)}${freed.padStart(16)}  ${first}`);
}

console.log(`\nHealthy hands, ${values.minutes} minutes of them and ${seeds.length * 10} checks:`);
const hands = [1, 2, 3, 4, 5];
const alarms = (
  await Promise.all(hands.map((seed) => healthyHand(seed, Number(values.minutes) / hands.length)))
).flat();
let checkedS = 0;
for (let seed = 1; seed <= 10 * seeds.length; seed++) {
  const { verdicts, seconds } = await guidedCheck(1000 + seed);
  checkedS += seconds;
  for (const [finger, verdict] of verdicts.entries()) {
    if (verdict !== 'healthy') alarms.push(`check ${seed}: ${FINGERS[finger]} ${verdict}`);
  }
}
console.log(
  alarms.length === 0 ? `no alarm (checks: ${(checkedS / 60).toFixed(0)} minutes)` : alarms.join('\n'),
);
