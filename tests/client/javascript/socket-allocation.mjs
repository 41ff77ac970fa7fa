// What a pose costs with the socket of the package `ws`, in bytes allocated: for the client, or for a receiver that looks at
// nothing. Run with --expose-gc --min-semi-space-size=64. Arguments: URL and BATCH of
// tests/client/batch-service.ts, and `client`, `onmessage` or `emitter`.
import { PerformanceObserver } from 'node:perf_hooks';
import { WebSocket } from 'ws';
import { connect } from '../../../dist/client/index.js';

const [, , url, batchSize, kind] = process.argv;
const BATCH = Number(batchSize);
let received = 0;
let done;
const took = () => {
  if (++received === BATCH) done();
};
let more;
if (kind === 'client') {
  let socket;
  class Seen extends WebSocket {
    constructor(...args) {
      super(...args);
      socket = this;
    }
  }
  const client = connect({ url, reusePoses: true, WebSocket: Seen });
  client.on('joints', took);
  await client.ready();
  more = () => socket.send('more');
} else {
  const socket = new WebSocket(url, 'tautline.binary.v1');
  if (kind === 'onmessage') {
    socket.onmessage = ({ data }) => {
      if (typeof data !== 'string') took();
    };
  } else {
    socket.on('message', (_, binary) => {
      if (binary) took();
    });
  }
  await new Promise((resolve) => socket.on('open', resolve));
  more = () => socket.send('more');
}
const batch = () =>
  new Promise((resolve) => {
    received = 0;
    done = resolve;
    more();
  });
for (let i = 0; i < 15; i++) await batch();
const used = () => {
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
};
const collected = [];
new PerformanceObserver((list) => {
  for (const { startTime } of list.getEntries()) collected.push(startTime);
}).observe({ entryTypes: ['gc'] });
let least = Number.POSITIVE_INFINITY;
for (let since = 0, i = 0; since < 5 && i < 20; i++) {
  for (let again = 0; again < 2; again++) {
    globalThis.gc();
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  const [before, sinceMs] = [used(), performance.now()];
  await batch();
  const [bytes, untilMs] = [used() - before, performance.now()];
  await new Promise((resolve) => setTimeout(resolve, 50));
  if (collected.some((atMs) => atMs >= sinceMs && atMs <= untilMs)) continue;
  // A hundredth less is the same.
  since = bytes < 0.99 * least ? 1 : since + 1;
  least = Math.min(least, bytes);
}
console.log(JSON.stringify({ bytes: least / BATCH }));
process.exit();
