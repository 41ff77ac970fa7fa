import { spawn } from 'node:child_process';
import { once } from 'node:events';
import type { Socket } from 'node:net';
import { setImmediate } from 'node:timers/promises';
import { type WebSocket, WebSocketServer } from 'ws';
import { MEDIUM_HEADER, OPCODE_BINARY, writeMediumHeader } from '../../src/stream/websocket-frame.js';
import { type Figures, median } from './figure.js';

const READERS = 16;
const ROUNDS = 15;
const MESSAGES = 1000;
/** A pose with velocities in binary has about as many. */
const PAYLOAD_BYTES = 1500;
/** In a process of its own, so that only sending is measured. */
const READER = `
const { WebSocket } = require('ws');
for (let i = 0; i < ${READERS}; i++) new WebSocket(process.argv[1]).on('message', () => {});
`;

/** One message to many readers: framed once and written to each socket, against the library's \`send\` for each. */
export async function measureFanOut(): Promise<Figures> {
  const server = new WebSocketServer({ host: '127.0.0.1', port: 0, perMessageDeflate: false });
  await once(server, 'listening');
  const readers: { ws: WebSocket; socket: Socket }[] = [];
  const all = new Promise<void>((resolve) => {
    server.on('connection', (ws, request) => {
      request.socket.setNoDelay(true);
      if (readers.push({ ws, socket: request.socket }) === READERS) resolve();
    });
  });
  const { port } = server.address() as { port: number };
  const child = spawn(process.execPath, ['--eval', READER, `ws://127.0.0.1:${port}`], { stdio: 'inherit' });
  try {
    await all;
    const frame = Buffer.alloc(MEDIUM_HEADER + PAYLOAD_BYTES, 0x5a);
    const payload = frame.subarray(MEDIUM_HEADER);
    const own = (): void => {
      writeMediumHeader(frame, OPCODE_BINARY, PAYLOAD_BYTES);
      for (const { socket } of readers) socket.write(frame);
    };
    const library = (): void => {
      for (const { ws } of readers) ws.send(payload);
    };
    const ns: [number[], number[]] = [[], []];
    for (let round = 0; round < ROUNDS; round++) {
      for (const [i, send] of [own, library].entries()) ns[i].push(await timeOf(send, readers));
    }
    const [ownNs, libraryNs] = ns.map((values) => median(values));
    return {
      fanOut: {
        value: ownNs / libraryNs,
        unit: `x (${Math.round(ownNs)} ns)`,
        bar: 1,
        better: 'lower',
        reference: `CPU time a message to ${READERS} readers, by the library's send for each of them ${Math.round(libraryNs)} ns`,
      },
    };
  } finally {
    child.kill('SIGKILL');
    server.close();
    for (const { ws } of readers) ws.terminate();
  }
}

/** CPU time of this process for one message to all, ns; it waits for readers that are behind. */
async function timeOf(send: () => void, readers: readonly { socket: Socket }[]): Promise<number> {
  const start = process.cpuUsage();
  for (let i = 0; i < MESSAGES; i++) {
    send();
    do await setImmediate();
    while (readers.some(({ socket }) => socket.writableLength > 0));
  }
  const { user, system } = process.cpuUsage(start);
  return ((user + system) * 1000) / MESSAGES;
}
