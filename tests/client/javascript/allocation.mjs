// What the library allocates for a pose and a frame, from the bytes to the app's listener and its grab, with a socket that
// allocates nothing itself. Run with --expose-gc --min-semi-space-size=64, so that nothing is collected in between.
// Arguments: POSES, `reuse` for reusePoses, `buffer` for bytes as `ws` gives them and `silent` for a glove that is. Prints
// bytes for each pose.
import { readFileSync } from 'node:fs';
import { PerformanceObserver } from 'node:perf_hooks';
import { connect, Grab } from '../../../dist/client/index.js';

const { records } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8'));
const [, , count, ...words] = process.argv;
const name = words.includes('silent') ? 'not valid, and why, in letters of four kinds' : 'a right hand';
const { hex } = records.find((record) => record.name === name);
// A hundred of them, each with bytes of its own, as a socket gives.
const messages = Array.from({ length: 100 }, () => {
  const bytes = Buffer.from(Uint8Array.from(Buffer.from(hex, 'hex')).buffer);
  return { bytes, data: words.includes('buffer') ? bytes : bytes.buffer };
});
let socket;
class Still {
  binaryType = '';
  readyState = 1;
  constructor() {
    socket = this;
  }
  send() {}
  close() {}
}
const client = connect({ WebSocket: Still, reusePoses: words.includes('reuse') });
// Numbers that do not fit into 31 bits would be garbage of the app's own in a variable.
const seen = new Float64Array(2);
client.on('joints', (pose) => {
  seen[0] += pose.seq;
  seen[1] += pose.poses[80];
});
const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.035 } });
const ball = [0, -0.056, -0.086, 0, 0, 0, 1];
await new Promise((resolve) => setImmediate(resolve));
const hands = [{ hand: 'right', name: 'still', armed: false, howToArm: 'wait' }];
socket.onmessage({
  data: JSON.stringify({ type: 'welcome', server: { name: 'tautline', version: '0' }, app: 'a', hands }),
});
let seq = 0;
const run = (poses) => {
  for (let i = 0; i < poses; i++) {
    const message = messages[i % messages.length];
    message.bytes.writeUInt32LE(++seq, 4);
    socket.onmessage(message);
    grab.update(ball, client.pose('right'), i);
  }
};
const collected = [];
const observer = new PerformanceObserver((list) => {
  for (const { startTime } of list.getEntries()) collected.push(startTime);
});
const poses = Number(count);
for (let i = 0; i < 20; i++) {
  run(3000);
  await new Promise((resolve) => setImmediate(resolve));
}
// Twice: what is outside of the heap is given back only after a collection.
for (let i = 0; i < 2; i++) {
  globalThis.gc();
  await new Promise((resolve) => setTimeout(resolve, 50));
}
observer.observe({ entryTypes: ['gc'] });
const used = () => {
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
};
// The least of several, until it gets no less: code that is still being optimised is not what stays, and a collection would
// hide what it takes.
let least = Number.POSITIVE_INFINITY;
for (let since = 0, i = 0; since < 5 && i < 20; i++) {
  const [before, sinceMs] = [used(), performance.now()];
  run(poses);
  const [bytes, untilMs] = [used() - before, performance.now()];
  await new Promise((resolve) => setTimeout(resolve, 50));
  if (collected.some((atMs) => atMs >= sinceMs && atMs <= untilMs)) continue;
  // A hundredth less is the same.
  since = bytes < 0.99 * least ? 1 : since + 1;
  least = Math.min(least, bytes);
}
console.log(
  JSON.stringify({
    bytes: least / poses,
    seen: seen[0] > 0 && seen[1] !== 0,
    state: grab.state,
  }),
);
client.close();
process.exit();
