// A crowd of apps. Arguments: port, hand, readers, askers, requests a second of each asker, "apart". Readers take
// every pose and throw it away; askers ask for stops without a pause. Apart, each reader wants another prediction, so
// that no work is shared. Says "crowded" once all of them are at it.
import { constants, setPriority } from 'node:os';
import { WebSocket } from 'ws';

// On a machine of two cores the crowd would take the service's time besides its attention.
setPriority(constants.priority.PRIORITY_LOW);

const [port, hand, readers, askers, rate, apart] = process.argv.slice(2);
const EVERY_MS = 20;
const count = Number(readers) + Number(askers);
let busy = 0;
for (let n = 0; n < count; n++) {
  const socket = new WebSocket(`ws://127.0.0.1:${port}/stream`);
  socket.on('error', (error) => {
    console.error(error.message);
    process.exit(1);
  });
  socket.on('close', (code, reason) => {
    console.error(`app ${n} was closed: ${code} ${reason}`);
  });
  socket.on('open', () => {
    if (n < Number(readers)) {
      const predictMs = apart ? Math.random() * 20 : 0;
      const streams = ['joints', 'resistance'];
      socket.send(JSON.stringify({ type: 'subscribe', streams, velocities: true, predictMs }));
    } else {
      setInterval(() => {
        for (let i = 0; i < (Number(rate) * EVERY_MS) / 1000; i++) {
          const fingers = { index: { stopAt: 0.3 + 0.4 * Math.random(), effort: Math.random() } };
          socket.send(JSON.stringify({ type: 'resist', hand, layer: 'flood', fingers, ttlMs: 1000 }));
        }
      }, EVERY_MS);
    }
    // The bytes are read, or the service would not send them; what they say does not matter.
    socket.once('message', () => {
      if (++busy === count) console.log('crowded');
    });
  });
}
