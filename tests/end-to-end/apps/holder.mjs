// An app that holds every finger for as long as it lives. Arguments: port, hand. Says "holding" once it is granted.
import { WebSocket } from 'ws';

const [port, hand] = process.argv.slice(2);
const stop = { stopAt: 0.5, effort: 1 };
const fingers = { thumb: stop, index: stop, middle: stop, ring: stop, little: stop };
const socket = new WebSocket(`ws://127.0.0.1:${port}/stream`);
const ask = () => socket.send(JSON.stringify({ type: 'resist', hand, fingers, ttlMs: 1000 }));
let granted = false;
socket.on('open', () => {
  ask();
  setInterval(ask, 50);
});
socket.on('message', (data) => {
  const message = JSON.parse(data.toString());
  if (granted || message.type !== 'ack' || message.for !== 'resist') return;
  granted = true;
  console.log('holding');
});
socket.on('close', () => process.exit());
