// Connections that send one message for ever, in fragments of one byte. Arguments: port, connections. Says "sending" once
// all of them are at it, and each second how many fragments went out.
import { constants, setPriority } from 'node:os';
import { WebSocket } from 'ws';

setPriority(constants.priority.PRIORITY_LOW);

const [port, connections] = process.argv.slice(2).map(Number);
const EVERY_MS = 20;
const PER_TICK = 400;
const MOST_UNSENT = 64 * 1024;
// Masking keys are 0 (RFC 6455, 5.2): a text that goes on, and its next byte.
const BEGINS = Buffer.from([0x01, 0x81, 0, 0, 0, 0, 0x20]);
const GOES_ON = Buffer.concat(Array(PER_TICK).fill(Buffer.from([0x00, 0x81, 0, 0, 0, 0, 0x20])));
let open = 0;
let sent = 0;
for (let n = 0; n < connections; n++) {
  const ws = new WebSocket(`ws://127.0.0.1:${port}/stream`);
  ws.on('error', () => {});
  ws.on('open', () => {
    const socket = ws._socket;
    socket.write(BEGINS);
    setInterval(() => {
      if (socket.destroyed || socket.writableLength > MOST_UNSENT) return;
      socket.write(GOES_ON);
      sent += PER_TICK;
    }, EVERY_MS);
    if (++open === connections) console.log('sending');
  });
}
setInterval(() => {
  console.log(`sent ${sent}`);
}, 1000);
