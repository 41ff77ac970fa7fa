/**
 * `npm run bench`: prints each figure beside its bar. Every ratio is measured against its reference in the same
 * run, turn by turn, so that it holds on a slow or busy machine.
 *
 *   npm run bench -- --json            one JSON object: name -> { value, unit, bar, better, reference }
 *   npm run bench -- --only frame      one measurement
 */
import { parseArgs } from 'node:util';
import type { Figures, Measurement } from './bench/figure.js';
import { measureFrame } from './bench/frame.js';
import { measureLatency } from './bench/latency.js';
import { measureReplay } from './bench/replay.js';
import { measureTouch } from './bench/touch.js';

const measurements: Record<string, Measurement> = {
  frame: measureFrame,
  latency: measureLatency,
  touch: measureTouch,
  replay: measureReplay,
};

const { values } = parseArgs({ options: { json: { type: 'boolean' }, only: { type: 'string' } } });
if (values.only !== undefined && !(values.only in measurements)) {
  console.error(`bench: no measurement "${values.only}"; there are: ${Object.keys(measurements).join(', ')}`);
  process.exit(2);
}

const figures: Figures = {};
for (const [name, measure] of Object.entries(measurements)) {
  if (values.only !== undefined && values.only !== name) continue;
  if (!values.json) console.error(`measuring ${name} ...`);
  Object.assign(figures, await measure());
}

if (values.json) {
  console.log(JSON.stringify(figures, null, 2));
} else {
  const rows = Object.entries(figures).map(([name, f]) => {
    const met = f.better === 'lower' ? f.value <= f.bar : f.value >= f.bar;
    const value = `${Number(f.value.toPrecision(3))} ${f.unit}`;
    const bar = `${f.better === 'lower' ? '<=' : '>='} ${f.bar}`;
    return [name, value, bar, met ? 'holds' : 'MISSED', f.reference];
  });
  const widths = [0, 1, 2, 3].map((column) => Math.max(...rows.map((row) => row[column].length)));
  for (const row of rows) console.log(row.map((cell, column) => cell.padEnd(widths[column] ?? 0)).join('  '));
}
process.exit(0);
