/**
 * `npm run bench`: prints each figure beside its bar. Every ratio is measured against its reference in the same
 * run, turn by turn, so that it holds on a slow or busy machine.
 *
 *   npm run bench -- --json            one JSON object: name -> { value, unit, bar, better, reference }
 *   npm run bench -- --markdown        a table for a document
 *   npm run bench -- --only frame      one measurement
 *   npm run bench -- --save            keeps the ratios as those that landed, for the next run to be compared with
 *
 * Needs make and a C++ compiler for the gloves that it measures with, and Linux for what processes use.
 */
import { parseArgs } from 'node:util';
import { measureFanOut } from './bench/fan-out.js';
import type { Figures, Measurement } from './bench/figure.js';
import { measureFrame } from './bench/frame.js';
import { readLanded, saveLanded } from './bench/landed.js';
import { measureLatency } from './bench/latency.js';
import { measureLoad } from './bench/load.js';
import { measureMemory } from './bench/memory.js';
import { measureRelays } from './bench/relays.js';
import { measureReplay } from './bench/replay.js';
import { measureResist } from './bench/resist.js';
import { measureStart } from './bench/start.js';
import { asMarkdown, asText } from './bench/table.js';
import { measureTouch } from './bench/touch.js';

const measurements: Record<string, Measurement> = {
  frame: measureFrame,
  latency: measureLatency,
  fanOut: measureFanOut,
  resist: measureResist,
  touch: measureTouch,
  replay: measureReplay,
  relays: measureRelays,
  load: measureLoad,
  memory: measureMemory,
  start: measureStart,
};

const { values } = parseArgs({
  options: {
    json: { type: 'boolean' },
    markdown: { type: 'boolean' },
    only: { type: 'string' },
    save: { type: 'boolean' },
  },
});
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

const landed = readLanded();
if (values.json) console.log(JSON.stringify(figures, null, 2));
else console.log((values.markdown ? asMarkdown : asText)(figures, landed));
if (values.save) saveLanded(figures);
process.exit(0);
