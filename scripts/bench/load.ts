import { Bed } from '../load/bed.js';
import { join, measure } from '../load/cell.js';
import type { Figures } from './figure.js';

const RATE_HZ = 1000;
const SUBSCRIBERS = 16;
const SECONDS = 6;
/** With and without the one that stalls, in turns. */
const TURNS = 6;
const TURN_SECONDS = 1.5;
const WARM_UP_MS = 4000;

/**
 * Two gloves at 1 kHz on pseudo-terminals, the service that users run, and 16 subscribers of every sample of both
 * in a process of their own. Then the same with one more that does not read.
 */
export async function measureLoad(): Promise<Figures> {
  const bed = new Bed();
  try {
    const gloves = [await bed.glove('left', RATE_HZ), await bed.glove('right', RATE_HZ)];
    const service = await bed.service(gloves);
    const readers = bed.readers();
    await join(service, gloves, readers, 'binary', SUBSCRIBERS, WARM_UP_MS);
    const due = { gloves: 2, rateHz: RATE_HZ, subscribers: SUBSCRIBERS };
    const all = await measure(service, readers, due, SECONDS);

    const alone: number[] = [];
    const beside: number[] = [];
    for (let turn = 0; turn < TURNS; turn++) {
      alone.push((await measure(service, readers, due, TURN_SECONDS)).p99Us);
      await readers.tell({ kind: 'stall', url: service.url, encoding: 'binary' });
      beside.push((await measure(service, readers, due, TURN_SECONDS)).p99Us);
      await readers.tell({ kind: 'closeStalled' });
    }
    // Whatever else the machine does only ever adds: the quietest turn of each.
    const [aloneUs, besideUs] = [Math.min(...alone), Math.min(...beside)];
    const what = `2 hands x ${RATE_HZ} Hz x ${SUBSCRIBERS} subscribers, binary`;
    const poses = `${Math.round(all.posesPerS)} of ${all.duePerS} poses a second`;
    return {
      load: {
        value: all.cpuPercent,
        unit: '% of one core',
        bar: 60,
        better: 'lower',
        reference: `${what}; ${poses}, p99 ${all.p99Us} us after the sample`,
      },
      loadDropped: {
        value: all.dropped * 100,
        unit: '% of the poses',
        bar: 0,
        better: 'lower',
        reference: `the same, by the gaps in their numbers`,
      },
      residentMB: {
        value: all.residentMb,
        unit: 'MB',
        bar: 80,
        better: 'lower',
        reference: `the service's process, ${what}`,
      },
      stalledSubscriber: {
        value: 100 * (besideUs / aloneUs - 1),
        unit: '% on the p99 of the others',
        bar: 10,
        better: 'lower',
        reference: `${aloneUs} us without, ${besideUs} us with one that never reads; quietest of ${TURNS} turns each`,
      },
    };
  } finally {
    await bed.close();
  }
}
