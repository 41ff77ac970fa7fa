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

const FAULTS: Record<string, { fault: string; flapMs?: number }> = {
  '470 kΩ': { fault: 'fault open 470' },
  '1 MΩ': { fault: 'fault open 1000' },
  '1 MΩ, flaps to 20 ms': { fault: 'fault open 1000', flapMs: 20 },
  '1 MΩ, flaps to 200 ms': { fault: 'fault open 1000', flapMs: 200 },
  'none, nothing leaks': { fault: 'fault floating 0' },
  'none, 100 nA leak down': { fault: 'fault floating 100' },
  'none, 20 nA leak up': { fault: 'fault floating -20' },
  'none, flaps to 200 ms': { fault: 'fault floating 100', flapMs: 200 },
};
/** The app lets go meanwhile, or asks later, or the finger moves first: when it is freed says nothing. */
const LOOKED_AT_LATER: readonly Moment[] = ['between', 'before', 'opening'];

const most = (outcomes: readonly WiperOutcome[], of: (one: WiperOutcome) => number): number =>
  Math.max(...outcomes.map(of));
const ms = (value: number): string => (Number.isFinite(value) ? value.toFixed(0) : 'never');

console.log(
  `${'pull-down'.padEnd(24)}${'when'.padEnd(10)}${'finger'.padEnd(8)}  freed ms  inferred ms  drag, curl  with N  verdicts`,
);
for (const [pullDown, how] of Object.entries(FAULTS)) {
  const { fault, flapMs } = how;
  const text = `${fault}${flapMs === undefined ? '' : ` flaps ${flapMs}`}`;
  if (values.fault && !values.fault.some((part) => text.includes(part))) continue;
  for (const moment of Object.keys(MOMENTS) as Moment[]) {
    if (values.moment && !values.moment.includes(moment)) continue;
    const all = await Promise.all(
      FINGERS.map((_, finger) =>
        breakOften(
          { moment, finger, ...how },
          Number(values.times),
          100 * Number(values.seed) + finger,
          Number(values.rate),
        ),
      ),
    );
    for (const outcomes of all) {
      const verdicts = [...new Set(outcomes.map(({ verdict }) => verdict))].join(' ');
      console.log(
        pullDown.padEnd(24) +
          moment.padEnd(10) +
          outcomes[0].finger.padEnd(8) +
          (LOOKED_AT_LATER.includes(moment) ? '-' : ms(most(outcomes, (one) => one.freedMs))).padStart(10) +
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
