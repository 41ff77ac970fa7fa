/**
 * How often a quick hand is taken for a broken wire: hands that move as fast as hands can, and faster, past the judges
 * of channels.
 *
 *   npx tsx scripts/natural.ts [--hours 8] [--seed 1]
 */
import { parseArgs } from 'node:util';
import { MOTIONS, notBelieved } from '../tests/sensing/natural-motions.js';

const { values } = parseArgs({
  options: { hours: { type: 'string', default: '8' }, seed: { type: 'string', default: '1' } },
});
const SAMPLINGS = [
  { rateHz: 100, noiseCounts: 1.5, bits: 12 },
  { rateHz: 100, noiseCounts: 3, bits: 12 },
  { rateHz: 250, noiseCounts: 1.5, bits: 12 },
  { rateHz: 250, noiseCounts: 1.5, bits: 10 },
  { rateHz: 250, noiseCounts: 8, bits: 12 },
  { rateHz: 500, noiseCounts: 1.5, bits: 12 },
  { rateHz: 500, noiseCounts: 4, bits: 12 },
  { rateHz: 1000, noiseCounts: 1, bits: 12 },
];
const each = (Number(values.hours) * 3600) / (SAMPLINGS.length * Object.keys(MOTIONS).length);
let all = 0;
for (const [name, motion] of Object.entries(MOTIONS)) {
  for (const sampling of SAMPLINGS) {
    const found = notBelieved(motion, sampling, each, Number(values.seed));
    all += found.length;
    for (const what of found) console.log(`${name}, ${JSON.stringify(sampling)}: ${what}`);
  }
}
console.log(`${values.hours} hours of five fingers: ${all} times not believed`);
