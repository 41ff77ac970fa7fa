// What the library allocates for a pose and a frame, with a socket that allocates nothing itself. Run with --expose-gc
// --min-semi-space-size=64, so that nothing is collected in between. Arguments: POSES. Prints bytes for each pose.
import { readFileSync } from 'node:fs';
import { PerformanceObserver } from 'node:perf_hooks';
import { connect, Grab } from '../../../dist/client/index.js';

const { records } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8'));
const { hex } = records.find(({ name }) => name === 'a right hand');
const bytes = Uint8Array.from(Buffer.from(hex, 'hex')).buffer;
const view = new DataView(bytes);
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
const client = connect({ WebSocket: Still, reusePoses: process.argv[3] === 'reuse' });
let seen = 0;
client.on('joints', ({ seq }) => {
  seen += seq;
});
const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.035 } });
const ball = [0, -0.056, -0.086, 0, 0, 0, 1];
await new Promise((resolve) => setImmediate(resolve));
const hands = [{ hand: 'right', name: 'still', armed: false, howToArm: 'wait' }];
socket.onmessage({
  data: JSON.stringify({ type: 'welcome', server: { name: 'tautline', version: '0' }, app: 'a', hands }),
});
const message = { data: bytes };
let seq = 0;
const run = (poses) => {
  for (let i = 0; i < poses; i++) {
    view.setUint32(4, ++seq, true);
    socket.onmessage(message);
    grab.update(ball, client.pose('right'), i);
  }
};
let collections = 0;
const observer = new PerformanceObserver((list) => {
  collections += list.getEntries().length;
});
const poses = Number(process.argv[2]);
for (let i = 0; i < 20; i++) {
  run(poses);
  await new Promise((resolve) => setImmediate(resolve));
}
globalThis.gc();
await new Promise((resolve) => setTimeout(resolve, 50));
observer.observe({ entryTypes: ['gc'] });
const used = () => {
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
};
const before = used();
run(poses);
const after = used();
await new Promise((resolve) => setTimeout(resolve, 50));
console.log(
  JSON.stringify({ bytes: (after - before) / poses, collections, seen: seen > 0, state: grab.state }),
);
client.close();
process.exit();
