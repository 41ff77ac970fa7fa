import { once } from 'node:events';
import { WebSocket } from 'ws';
import { createFrameCodec } from '../../src/link/frames.js';
import { Bed, type HostGlove, pause } from '../load/bed.js';
import { monotonicUs } from '../load/clock.js';
import { type Figures, median, percentile } from './figure.js';
import { startPassThrough } from './start-pass-through.js';

/**
 * Time from the glove's sample to the message at the app, over a pseudo-terminal, beside a pass-through of the
 * same bytes. Both gloves, both services and the app run at once and are measured side by side, so that whatever
 * else the machine does meets both.
 */
const RATE_HZ = 250;
/** Not the same, or the samples of one would meet those of the other at the same place, by chance, for a whole run. */
const PASS_RATE_HZ = RATE_HZ + 1;
const SECONDS = 20;
/** Of a service that runs all day: at first its engine still compiles what it runs. */
const WARM_UP_SECONDS = 20;

/** Collects device-sample -> message delays from the pass-through. */
async function throughPass(bed: Bed, glove: HostGlove, delays: number[]): Promise<void> {
  const { url } = await startPassThrough(bed, glove);
  const socket = new WebSocket(url, { perMessageDeflate: false });
  let arrival = 0;
  const codec = createFrameCodec({
    hello() {},
    samples: (samples) => void delays.push(arrival - glove.clockUs - samples.deviceTimeUs),
    state() {},
    pong() {},
    note() {},
  });
  socket.on('message', (data: Buffer) => {
    arrival = monotonicUs();
    codec.push(data);
  });
  await once(socket, 'open');
}

/** The same through the service. Its health reports say how its times relate to the glove's clock. */
async function throughService(
  bed: Bed,
  glove: HostGlove,
  subprotocol: string,
  delays: number[],
): Promise<void> {
  const { url } = await bed.service([glove]);
  const socket = new WebSocket(url, subprotocol, { perMessageDeflate: false });
  await once(socket, 'open');
  let offsetUs: number | undefined;
  socket.on('message', (data: Buffer, isBinary) => {
    const arrival = monotonicUs();
    let timeUs: number;
    if (isBinary) timeUs = data.readDoubleLE(8);
    else {
      const start = data.toString('latin1', 0, 120);
      if (start.includes('"health"')) {
        const health = JSON.parse(data.toString()) as { clock?: { offsetUs: number } };
        offsetUs = health.clock?.offsetUs;
      }
      const at = start.indexOf('"timeUs":');
      if (!start.includes('"joints"') || at < 0) return;
      timeUs = Number.parseFloat(start.slice(at + 9));
    }
    if (offsetUs !== undefined) delays.push(arrival - glove.clockUs - (timeUs - offsetUs));
  });
  socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints', 'health'], hands: ['right'] }));
}

export async function measureLatency(): Promise<Figures> {
  const figures: Figures = {};
  for (const [name, subprotocol] of [
    ['Json', 'tautline.json.v1'],
    ['Binary', 'tautline.binary.v1'],
  ]) {
    const bed = new Bed();
    try {
      const pass: number[] = [];
      const service: number[] = [];
      await throughPass(bed, await bed.glove('right', PASS_RATE_HZ), pass);
      await throughService(bed, await bed.glove('right', RATE_HZ), subprotocol, service);
      await pause(WARM_UP_SECONDS * 1000);
      pass.length = 0;
      service.length = 0;
      await pause(SECONDS * 1000);
      const reference = (p: number): string => `pass-through p${p} ${Math.round(percentile(pass, p))} us`;
      for (const p of [50, 99]) {
        figures[`latency${name}P${p}`] = {
          value: percentile(service, p) / percentile(pass, p),
          unit: `x (${Math.round(percentile(service, p))} us)`,
          bar: p === 50 && name === 'Json' ? 1.1 : 1.15,
          better: 'lower',
          reference: `${reference(p)}; ${service.length} and ${pass.length} messages, median ${Math.round(median(service))} us`,
        };
      }
    } finally {
      await bed.close();
    }
  }
  return figures;
}
