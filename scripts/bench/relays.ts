import { once } from 'node:events';
import { WebSocket } from 'ws';
import { Bed, costOf, type HostGlove, pause, type ServiceProcess } from '../load/bed.js';
import { monotonicUs } from '../load/clock.js';
import { type Figures, median } from './figure.js';
import { startPassThrough } from './start-pass-through.js';

const RATE_HZ = 250;
const APPS = 2;
const WARM_UP_MS = 15_000;
/** Linux counts in hundredths of a second: a turn must be long enough to hold many. */
const TURN_MS = 4000;
const TURNS = 5;

/** Apps that take whatever comes and look at none of it. @returns messages that came so far */
async function listen(url: string, protocol?: string): Promise<() => number> {
  let messages = 0;
  for (let i = 0; i < APPS; i++) {
    const socket = new WebSocket(url, protocol, { perMessageDeflate: false, skipUTF8Validation: true });
    socket.on('message', () => {
      messages++;
    });
    await once(socket, 'open');
    if (protocol !== undefined) socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints'] }));
  }
  return () => messages;
}

async function gloves(bed: Bed): Promise<HostGlove[]> {
  return [await bed.glove('left', RATE_HZ), await bed.glove('right', RATE_HZ)];
}

/**
 * Processor time of one service with two gloves and two apps, beside what two bare relays of the same bytes to as
 * many apps take, all of them at once.
 */
export async function measureRelays(): Promise<Figures> {
  const figures: Figures = {};
  for (const [name, protocol] of [
    ['Json', 'tautline.json.v1'],
    ['Binary', 'tautline.binary.v1'],
  ]) {
    const bed = new Bed();
    try {
      const relays: ServiceProcess[] = [];
      for (const glove of await gloves(bed)) relays.push(await startPassThrough(bed, glove));
      for (const { url } of relays) await listen(url);
      const service = await bed.service(await gloves(bed));
      const messages = await listen(service.url, protocol);
      await pause(WARM_UP_MS);

      const used = (): [number, number] => [
        costOf(service.pid).cpuUs,
        relays.reduce((sum, { pid }) => sum + costOf(pid).cpuUs, 0),
      ];
      const ratios: number[] = [];
      const [fromService, fromRelays] = used();
      const sinceUs = monotonicUs();
      const before = messages();
      let last = [fromService, fromRelays];
      for (let turn = 0; turn < TURNS; turn++) {
        await pause(TURN_MS);
        const now = used();
        ratios.push((now[0] - last[0]) / (now[1] - last[1]));
        last = now;
      }
      const elapsedUs = monotonicUs() - sinceUs;
      const percent = (us: number): string => ((100 * us) / elapsedUs).toFixed(1);
      figures[`cpuBesideRelays${name}`] = {
        value: median(ratios),
        unit: `x (${percent(last[0] - fromService)} % of a core)`,
        bar: 0.7,
        better: 'lower',
        reference:
          `two bare relays ${percent(last[1] - fromRelays)} %; 2 hands x ${RATE_HZ} Hz x ${APPS} apps, ` +
          `${Math.round(((messages() - before) * 1e6) / elapsedUs)} poses a second`,
      };
    } finally {
      await bed.close();
    }
  }
  return figures;
}
