/**
 * A crowd of hostile connections, as a program: many at once over real sockets, each of which does one evil thing for a
 * while, then another. Arguments: port, connections, seed. Says "hostile" once all have begun, and at the end of each
 * second what it has done. Nothing in it disarms or arms.
 */
import { randomBytes } from 'node:crypto';
import { connect, type Socket } from 'node:net';
import { constants, setPriority } from 'node:os';
import { hasWord } from '../../src/stream/disarm-word.js';
import { framed, heavy, hostile, touch } from './hostile-messages.js';
import { createRandom } from './random.js';

// On a machine of two cores it would take the service's time besides its attention.
setPriority(constants.priority.PRIORITY_LOW);

const [port, connections, seed] = process.argv.slice(2).map(Number);
const { below: random } = createRandom(seed);
const TICK_MS = 20;
const POOL = 300;
const MOST_UNSENT = 512 * 1024;
const NO_ARM = /"arm"|\\u00/;

const frameOf = (text: string, binary = false): Buffer => framed(Buffer.from(text), binary, () => 1);
const pool = (make: () => Buffer): Buffer[] => {
  const frames: Buffer[] = [];
  while (frames.length < POOL) {
    const frame = make();
    const said = frame.toString('latin1');
    if (!hasWord(said) && !NO_ARM.test(said)) frames.push(frame);
  }
  return frames;
};
const MESSAGES = pool(() => framed(...hostile(random), random));
const HULLS = pool(() => frameOf(JSON.stringify(touch(random))));
const HEAVY = pool(() => frameOf(heavy(random)));
const SUBSCRIPTIONS = pool(() => {
  const streams = ['joints', 'inputs', 'resistance', 'health', 'signals'];
  return frameOf(JSON.stringify({ type: 'subscribe', streams, velocities: true, predictMs: random(50) }));
});
const some = (frames: Buffer[], count: number): Buffer =>
  Buffer.concat(Array.from({ length: count }, () => frames[random(frames.length)]));

const HANDSHAKE = () =>
  `GET /stream HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n` +
  `Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: ${randomBytes(16).toString('base64')}\r\n\r\n`;
const ROUTES = ['/health', '/metrics', '/schema', '/asyncapi.json', '/', '/nothing', '/sessions'];

/** What one connection does: at first, then every tick. */
interface Evil {
  first: () => string | Buffer;
  goesOn: (ticks: number) => string | Buffer | undefined;
  /** Takes nothing that it is sent. */
  deaf?: boolean;
  /** Ends after so many ticks. */
  ticks?: number;
}
const EVILS: Record<string, Evil> = {
  messages: { first: HANDSHAKE, goesOn: () => some(MESSAGES, 30) },
  hulls: { first: HANDSHAKE, goesOn: () => some(HULLS, 30) },
  heavy: { first: HANDSHAKE, goesOn: () => some(HEAVY, 10) },
  subscriptions: { first: HANDSHAKE, goesOn: () => some(SUBSCRIPTIONS, 30) },
  pings: { first: HANDSHAKE, goesOn: () => Buffer.alloc(7 * 30, Buffer.from([0x89, 0x81, 0, 0, 0, 0, 1])) },
  noise: { first: HANDSHAKE, goesOn: () => randomBytes(1 + random(5000)) },
  endless: {
    first: HANDSHAKE,
    goesOn: (ticks) =>
      Buffer.concat([
        Buffer.from(ticks === 0 ? [0x01, 0x81, 0, 0, 0, 0, 32] : []),
        ...Array<Buffer>(300).fill(Buffer.from([0x00, 0x81, 0, 0, 0, 0, 32])),
      ]),
  },
  deaf: {
    first: HANDSHAKE,
    goesOn: (ticks) => (ticks < 3 ? some(SUBSCRIPTIONS, 1) : some(MESSAGES, 5)),
    deaf: true,
  },
  comesAndGoes: { first: HANDSHAKE, goesOn: () => undefined, ticks: 1 },
  pipelined: {
    first: () => '',
    goesOn: () => `GET ${ROUTES[random(ROUTES.length)]} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n`.repeat(100),
  },
  slow: { first: () => 'GET /health HT', goesOn: () => 'x' },
  bodies: {
    first: () => '',
    goesOn: (ticks) =>
      ticks === 0
        ? 'POST /fits/hand HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 900000\r\n\r\n'
        : '['.repeat(30_000),
  },
};
const NAMES = Object.keys(EVILS);
const done: Record<string, number> = {};
let begun = 0;

function begin(): void {
  const name = NAMES[random(NAMES.length)];
  const { first, goesOn, deaf, ticks: most = 10 + random(60) } = EVILS[name];
  const socket: Socket = connect(port, '127.0.0.1');
  socket.on('error', () => {});
  if (!deaf) socket.resume();
  let ticks = 0;
  let timer: NodeJS.Timeout | undefined;
  socket.on('connect', () => {
    done[name] = (done[name] ?? 0) + 1;
    socket.write(first());
    if (++begun === connections) console.log('hostile');
    timer = setInterval(() => {
      if (ticks >= most) {
        if (random(2) === 0) socket.destroy();
        else socket.end();
        setTimeout(() => socket.destroy(), 100);
        return;
      }
      if (socket.writableLength > MOST_UNSENT) return;
      const bytes = goesOn(ticks++);
      if (bytes !== undefined) socket.write(bytes);
    }, TICK_MS);
  });
  socket.on('close', () => {
    clearInterval(timer);
    setTimeout(begin, TICK_MS);
  });
}
for (let n = 0; n < connections; n++) begin();
setInterval(() => console.log(JSON.stringify(done)), 1000);
