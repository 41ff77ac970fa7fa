import { once } from 'node:events';
import { WebSocket } from 'ws';
import { FINGERS } from '../../src/hand/joints.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { armAsWearer } from '../../tests/stream/arm.js';
import { Bed, type HostGlove, pause, STOPS } from '../load/bed.js';
import { monotonicUs } from '../load/clock.js';
import { type Figures, percentile } from './figure.js';
import { startPassThrough } from './start-pass-through.js';

const RATE_HZ = 250;
const TRIALS = 400;
/** Half a minute, until little is compiled any more: a service runs all day. */
const WARM_UP_TRIALS = 400;
/** Between one change and the next, ms: never in step with the glove's samples. */
const [LEAST_PAUSE_MS, MOST_PAUSE_MS] = [15, 45];
const STOP_AT = 0.5;
/** On the link: no stop. */
const FREE = 65535;
/** Of the firmware's outputs: thumb to little finger. */
const MIDDLE = 2;

/** How to have a finger held, and let go. */
interface Hand {
  resist(): void;
  release(): void;
}

/** Has a finger held again and again. @returns from asking to the servo's output, by the firmware's clock, µs */
async function hold(glove: HostGlove, hand: Hand): Promise<number[]> {
  const seen = async (name: string): Promise<number> => {
    for (;;) {
      const [line] = (await once(glove.lines, 'line')) as [string];
      const event = JSON.parse(line) as { event?: string; deviceUs: number };
      if (event.event === name) return glove.clockUs + event.deviceUs;
    }
  };
  const delays: number[] = [];
  for (let trial = -WARM_UP_TRIALS; trial < TRIALS; trial++) {
    await pause(LEAST_PAUSE_MS + Math.random() * (MOST_PAUSE_MS - LEAST_PAUSE_MS));
    const held = seen('held');
    const askedUs = monotonicUs();
    hand.resist();
    const delayUs = (await held) - askedUs;
    if (trial >= 0) delays.push(delayUs);
    await pause(LEAST_PAUSE_MS);
    const released = seen('released');
    hand.release();
    await released;
  }
  return delays;
}

/** An app asks the service, which streams to it meanwhile. */
async function throughService(bed: Bed, glove: HostGlove): Promise<Hand> {
  const ofEach = STOPS.map((line) => line.replace('stringStop', 'stringStop, maxHoldS: 600'));
  const { url } = await bed.service([glove], [], ofEach);
  const socket = new WebSocket(url, 'tautline.json.v1', { perMessageDeflate: false });
  await once(socket, 'open');
  let joints = 0;
  let refused: string | undefined;
  socket.on('message', (data: Buffer) => {
    const text = data.toString();
    if (text.startsWith('{"type":"joints"')) joints++;
    if (text.startsWith('{"type":"error"')) refused ??= text;
  });
  const say = (message: object): void => {
    if (refused !== undefined) throw new Error(`resist: ${refused}`);
    socket.send(JSON.stringify(message));
  };
  say({ type: 'subscribe', streams: ['joints'], hands: [glove.hand] });
  while (joints < RATE_HZ) await pause(50);
  const { status, body } = await armAsWearer(Number(new URL(url).port), glove.hand);
  if (status !== 200) throw new Error(`arming: ${JSON.stringify(body)}`);
  return {
    resist: () =>
      say({
        type: 'resist',
        hand: glove.hand,
        fingers: { middle: { stopAt: STOP_AT, effort: 1 } },
        ttlMs: 1000,
      }),
    release: () => say({ type: 'release', hand: glove.hand }),
  };
}

/** The same bytes for the glove as the service would send, through a bare relay. */
async function throughPass(bed: Bed, glove: HostGlove): Promise<Hand> {
  const { url } = await startPassThrough(bed, glove);
  const socket = new WebSocket(url, { perMessageDeflate: false });
  await once(socket, 'open');
  const ignored = (): void => {};
  const messages = { hello: ignored, samples: ignored, state: ignored, pong: ignored, note: ignored };
  const codec = createFrameCodec(messages);
  const stops = new Uint16Array(FINGERS.length).fill(FREE);
  const efforts = new Uint8Array(FINGERS.length);
  stops[MIDDLE] = Math.round(STOP_AT * FREE);
  efforts[MIDDLE] = 255;
  return {
    resist: () => void socket.send(codec.resist(200, stops, efforts, stops.length)),
    release: () => void socket.send(codec.release()),
  };
}

/** From an app's `resist` to the output of the firmware, beside a bare relay that is given the glove's own bytes. */
export async function measureResist(): Promise<Figures> {
  const bed = new Bed();
  try {
    const [glove, passGlove] = [await bed.glove('right', RATE_HZ), await bed.glove('right', RATE_HZ)];
    const [hand, passHand] = [await throughService(bed, glove), await throughPass(bed, passGlove)];
    const [delays, passed] = await Promise.all([hold(glove, hand), hold(passGlove, passHand)]);
    const ms = (us: number): string => (us / 1000).toFixed(2);
    const of = (values: readonly number[]): string =>
      `p50 ${ms(percentile(values, 50))}, p99 ${ms(percentile(values, 99))} ms`;
    return {
      resist: {
        value: percentile(delays, 99) / 1000,
        unit: 'ms, p99',
        bar: 2,
        better: 'lower',
        reference: `from the message to the firmware's output, ${TRIALS} times: ${of(delays)}; a bare relay ${of(passed)}`,
      },
    };
  } finally {
    await bed.close();
  }
}
