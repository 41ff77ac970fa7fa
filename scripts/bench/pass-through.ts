/**
 * The reference for latency and cost: the same bytes, serialport -> ws and back, nothing in between. Started as a
 * process of its own by start-pass-through.ts: `pass-through PTY`; prints the port it listens on.
 */
import type { AddressInfo } from 'node:net';
import { SerialPort } from 'serialport';
import { WebSocketServer } from 'ws';

const path = process.argv[2];
const server = new WebSocketServer({ host: '127.0.0.1', port: 0, perMessageDeflate: false });
const port = new SerialPort({ path, baudRate: 115200 });
port.on('data', (bytes: Buffer) => {
  for (const client of server.clients) client.send(bytes);
});
server.on('connection', (client) => client.on('message', (bytes: Buffer) => port.write(bytes)));
server.on('listening', () => console.log((server.address() as AddressInfo).port));
