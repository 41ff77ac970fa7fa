/**
 * The reference for latency: the same bytes, serialport -> ws, nothing in between. Started as a process of its
 * own by latency.ts: `pass-through PTY`; prints the port it listens on.
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
server.on('listening', () => console.log((server.address() as AddressInfo).port));
