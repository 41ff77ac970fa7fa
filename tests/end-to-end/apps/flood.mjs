// A flood. Arguments: port, hand, connections, messages a second of each, "near" or "far", "hulls", "boxes", "unknown",
// "words" or "mixed". Hulls have 256 points and differ from one message to the next; far shapes are out of reach and
// hold nothing; words are short messages of which nothing is known but that they are no JSON. Mixed, connections take
// turns between the first three. Frames are made beforehand, so that the flood costs its own process little. Says
// "flooding" once every connection is at it, and each second how many messages went out.
import { constants, setPriority } from 'node:os';
import { WebSocket } from 'ws';

// On a machine of two cores the flood would take the service's time besides its attention.
setPriority(constants.priority.PRIORITY_LOW);

const [port, hand, connections, rate, reach, kinds = 'mixed'] = process.argv.slice(2);
const EVERY_MS = 20;
const MOST_UNSENT = 1024 * 1024;
const perTick = Math.max(1, Math.round((Number(rate) * EVERY_MS) / 1000));
const position = reach === 'near' ? [0, -0.055, -0.1] : [0, 5, 5];

/** A text message as a frame of a client (RFC 6455, 5.2) whose masking key is 0. */
function frameOf(message) {
  const payload = Buffer.from(typeof message === 'string' ? message : JSON.stringify(message));
  const size = payload.length;
  const header = Buffer.alloc(size < 126 ? 6 : 8);
  header[0] = 0x81;
  if (size < 126) header[1] = 0x80 | size;
  else {
    header[1] = 0x80 | 126;
    header.writeUInt16BE(size, 2);
  }
  return Buffer.concat([header, payload]);
}

function hull() {
  const points = Array.from({ length: 256 }, () => {
    const [x, y, z] = [0, 0, 0].map(() => Math.random() - 0.5);
    const radius = 0.035 / Math.hypot(x, y, z);
    return [x * radius, y * radius, z * radius];
  });
  return { type: 'touch', hand, layer: 'flood', shape: { kind: 'hull', points }, position, ttlMs: 1000 };
}
const box = () => ({
  type: 'touch',
  hand,
  layer: 'flood',
  shape: { kind: 'box', size: [0, 0, 0].map(() => 0.03 + 0.05 * Math.random()) },
  position,
  ttlMs: 1000,
});
const unknown = () => ({ type: `r${'e'.repeat(Math.random() * 30)}sist`, id: Math.random().toString(36) });
const word = () => Math.random().toString(36);

const MAKERS = { hulls: hull, boxes: box, unknown, words: word };
const made = Object.fromEntries(
  Object.entries(MAKERS).map(([kind, make]) => {
    const frames = Array.from({ length: perTick }, () => frameOf(make()));
    return [kind, Buffer.concat(frames)];
  }),
);
const MIX = ['hulls', 'boxes', 'unknown'];

const AGAIN_MS = 100;
const started = new Set();
let sent = 0;
let closed = 0;

function begin(n) {
  const kind = kinds === 'mixed' ? MIX[n % MIX.length] : kinds;
  const ws = new WebSocket(`ws://127.0.0.1:${port}/stream`);
  let timer;
  ws.on('error', () => {});
  // Whoever means to flood comes back.
  ws.on('close', () => {
    clearInterval(timer);
    closed++;
    setTimeout(begin, AGAIN_MS, n);
  });
  ws.on('open', () => {
    const socket = ws._socket;
    timer = setInterval(() => {
      if (socket.destroyed || socket.writableLength > MOST_UNSENT) return;
      socket.write(made[kind]);
      sent += perTick;
    }, EVERY_MS);
    if (!started.has(n) && started.add(n).size === Number(connections)) console.log('flooding');
  });
}
for (let n = 0; n < Number(connections); n++) begin(n);
setInterval(() => {
  console.log(`sent ${sent}, closed ${closed}`);
  sent = 0;
}, 1000);
