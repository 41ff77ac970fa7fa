/**
 * `npm run load`: what the service costs, and what its apps get, over gloves x rates x subscribers x encodings.
 * Gloves are our firmware behind pseudo-terminals; the service and the subscribers are processes of their own. Writes
 * the table of docs/load.md and the plot docs/load.svg. Some five minutes; let the machine do nothing else.
 *
 *   npm run load -- --seconds 1     seconds a cell, 2 when left out
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { cpus, loadavg } from 'node:os';
import { parseArgs } from 'node:util';
import { Bed, pause } from './load/bed.js';
import { join, measure } from './load/cell.js';
import { type Cell, ENCODINGS, GLOVES, RATES_HZ, SUBSCRIBERS } from './load/cells.js';
import { withMeasured } from './load/document.js';
import { loadPlot } from './load/plot.js';
import { loadTable } from './load/table.js';

const DOCUMENT = 'docs/load.md';
const PLOT = 'docs/load.svg';
/** Until the clocks of the gloves are fitted. */
const SETTLE_MS = 3000;

const { values } = parseArgs({ options: { seconds: { type: 'string', default: '2' } } });
const seconds = Number(values.seconds);

const cells: Cell[] = [];
let busiest = 0;
for (const gloves of GLOVES) {
  for (const rateHz of RATES_HZ) {
    const bed = new Bed();
    try {
      const hands = (['right', 'left'] as const).slice(0, gloves);
      const worn = await Promise.all(hands.map((hand) => bed.glove(hand, rateHz)));
      const service = await bed.service(worn);
      const readers = bed.readers();
      await pause(SETTLE_MS);
      for (const subscribers of SUBSCRIBERS) {
        for (const encoding of ENCODINGS) {
          await join(service, worn, readers, encoding, subscribers);
          const due = { gloves, rateHz, subscribers };
          const cell = { ...due, encoding, ...(await measure(service, readers, due, seconds)) };
          cells.push(cell);
          await readers.tell({ kind: 'close' });
          busiest = Math.max(busiest, loadavg()[0]);
          const { cpuPercent, p99Us, readersCpuPercent } = cell;
          console.error(
            `${gloves} x ${rateHz} Hz x ${subscribers} ${encoding}: ${cpuPercent.toFixed(0)} % CPU, p99 ${p99Us} us, readers ${readersCpuPercent.toFixed(0)} %`,
          );
        }
      }
    } finally {
      await bed.close();
    }
  }
}

const [{ model }] = cpus();
const machine = `Measured on ${cpus().length} shared cores (${model}), Node ${process.versions.node}, ${seconds} s a cell; load average at most ${busiest.toFixed(1)}.`;
const picture = '![CPU and p99 delay over the number of subscribers](load.svg)';
const measured = [machine, picture, loadTable(cells)].join('\n\n');
writeFileSync(DOCUMENT, withMeasured(readFileSync(DOCUMENT, 'utf8'), measured));
writeFileSync(PLOT, loadPlot(cells));
console.error(`${DOCUMENT} and ${PLOT} are written`);
process.exit(0);
