// An app that wants the hand at any price: it asks to arm with every request. Arguments: port, hand, token. Says
// "grabbing" once it has asked.
import { WebSocket } from 'ws';

const [port, hand, token] = process.argv.slice(2);
const stop = { stopAt: 0.5, effort: 1 };
const fingers = { thumb: stop, index: stop, middle: stop, ring: stop, little: stop };
const headers = token ? { authorization: `Bearer ${token}` } : {};
const socket = new WebSocket(`ws://127.0.0.1:${port}/stream`, { headers });
const ask = () => {
  socket.send(JSON.stringify({ type: 'arm', hand }));
  socket.send(JSON.stringify({ type: 'resist', hand, fingers, ttlMs: 1000 }));
};
socket.on('open', () => {
  setInterval(ask, 20);
  ask();
});
socket.once('message', () => console.log('grabbing'));
socket.on('close', () => process.exit());
