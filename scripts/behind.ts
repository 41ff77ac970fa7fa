/**
 * How far behind a fast finger its stop comes to be, where the drive cannot hold the finger: the whole service in turned
 * time, a finger that goes where it wants to, and every way to ask for a stop meanwhile. The same on every machine.
 *
 *   npx tsx scripts/behind.ts                       1260 runs
 *   npx tsx scripts/behind.ts --steps 20 --each     a finer grid; the worst run of each line
 *   npx tsx scripts/behind.ts --physics             the host glove's finger instead (make -C src/firmware/host): it
 *                                                   overpowers its drive, gives up, and is drawn back so far
 */
import { parseArgs } from 'node:util';
import { giveUpOften, givingUpGrid } from '../tests/end-to-end/giving-up.js';
import {
  type BehindCase,
  gridOf,
  LINKS,
  type LinkName,
  promised,
  promisedOfServo,
  runBehindCase,
} from '../tests/glove/behind-cases.js';

const { values } = parseArgs({
  options: {
    steps: { type: 'string', default: '7' },
    each: { type: 'boolean', default: false },
    physics: { type: 'boolean', default: false },
  },
});

if (values.physics) {
  const drawnBack: Record<string, string | number>[] = [];
  for (const link of ['cable, 250 Hz', 'radio, 100 Hz'] as const) {
    for (const fastest of [2, 4, 6, 7.5]) {
      const drawn = await giveUpOften(LINKS[link], givingUpGrid(fastest));
      const [half, most] = [drawn[drawn.length >> 1], drawn[drawn.length - 1]];
      drawnBack.push({
        link,
        'finger, curl/s': fastest,
        runs: drawn.length,
        'drawn back, median, curl': half.toFixed(3),
        'at most': most.toFixed(3),
      });
    }
  }
  console.table(drawnBack);
  process.exit();
}
const steps = Number(values.steps);
const stops = Array.from({ length: steps }, (_, i) => (0.9 * i) / (steps - 1));
// Before it moves, and at so many places of its way.
const moments = [-1, ...Array.from({ length: steps + 4 }, (_, i) => 0.06 + (0.85 * i) / (steps + 3))];

const rows: Record<string, string | number>[] = [];
let runs = 0;
let worstRatio = 0;
for (const link of Object.keys(LINKS) as LinkName[]) {
  for (const fastest of [1, 2, 4, 6, 7.5]) {
    let [placed, any, servo] = [0, 0, 0];
    let worst: BehindCase | undefined;
    let promise = [0, 0];
    for (const one of gridOf(link, fastest, stops, moments)) {
      const behind = runBehindCase(one);
      runs++;
      promise = [promised(one), promisedOfServo(one)];
      if (behind.any > any) worst = one;
      placed = Math.max(placed, behind.placed);
      any = Math.max(any, behind.any);
      servo = Math.max(servo, behind.servo);
    }
    worstRatio = Math.max(worstRatio, any / promise[0], servo / promise[1]);
    rows.push({
      link,
      'finger, curl/s': fastest,
      'moved there, curl': placed.toFixed(3),
      'any stop, curl': any.toFixed(3),
      promised: promise[0].toFixed(3),
      'by the last pulse': servo.toFixed(3),
      'promised ': promise[1].toFixed(3),
    });
    if (values.each) console.log(JSON.stringify(worst));
  }
}
console.table(rows);
console.log(`${runs} runs; the worst is ${(100 * worstRatio).toFixed(0)} % of what is promised`);
