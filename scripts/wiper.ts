/**
 * What a wiper that comes off does to a finger, without hardware: the firmware's hand with its servos and the service's
 * whole chain, with and without the pull-downs of docs/wiring.md.
 *
 *   npm run build && make -C src/firmware/host
 *   npx tsx scripts/wiper.ts                       20 breaks of each finger in each way
 *   npx tsx scripts/wiper.ts --times 3 --rate 100
 */
import { parseArgs } from 'node:util';
import { FINGERS } from '../src/hand/joints.js';
import { breakOften, MOMENTS, type Moment, type WiperOutcome } from '../tests/end-to-end/wiper-trials.js';

const { values } = parseArgs({
  options: {
    times: { type: 'string', default: '20' },
    rate: { type: 'string', default: '250' },
    seed: { type: 'string', default: '1' },
    fault: { type: 'string', multiple: true },
    moment: { type: 'string', multiple: true },
  },
});

const FAULTS: Record<string, string> = {
  '470 kΩ': 'fault open 470',
  '1 MΩ': 'fault open 1000',
  'none, nothing leaks': 'fault floating 0',
  'none, 100 nA leak down': 'fault floating 100',
  'none, 20 nA leak up': 'fault floating -20',
};

const most = (outcomes: readonly WiperOutcome[], of: (one: WiperOutcome) => number): number =>
  Math.max(...outcomes.map(of));
const ms = (value: number): string => (Number.isFinite(value) ? value.toFixed(0) : 'never');

console.log(
  `${'pull-down'.padEnd(22)}${'when'.padEnd(10)}${'finger'.padEnd(8)}  freed ms  inferred ms  drag, curl  with N  verdicts`,
);
for (const [pullDown, fault] of Object.entries(FAULTS)) {
  if (values.fault && !values.fault.some((part) => fault.includes(part))) continue;
  for (const moment of Object.keys(MOMENTS) as Moment[]) {
    if (values.moment && !values.moment.includes(moment)) continue;
    const all = await Promise.all(
      FINGERS.map((_, finger) =>
        breakOften(
          { moment, finger, fault },
          Number(values.times),
          100 * Number(values.seed) + finger,
          Number(values.rate),
        ),
      ),
    );
    for (const outcomes of all) {
      const verdicts = [...new Set(outcomes.map(({ verdict }) => verdict))].join(' ');
      console.log(
        pullDown.padEnd(22) +
          moment.padEnd(10) +
          outcomes[0].finger.padEnd(8) +
          ms(most(outcomes, (one) => one.freedMs)).padStart(10) +
          ms(most(outcomes, (one) => one.inferredMs)).padStart(13) +
          most(outcomes, (one) => one.drag)
            .toFixed(3)
            .padStart(12) +
          most(outcomes, (one) => one.dragN)
            .toFixed(1)
            .padStart(8) +
          `  ${verdicts}`,
      );
    }
  }
}
