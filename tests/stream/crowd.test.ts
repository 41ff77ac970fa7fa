import { once } from 'node:events';
import { connect, type Socket } from 'node:net';
import { afterEach, describe, expect, it } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

let stream: Stream;
const sockets: Socket[] = [];
afterEach(async () => {
  for (const socket of sockets.splice(0)) socket.destroy();
  await stream.close();
});

async function open(): Promise<Socket> {
  const socket = connect(stream.port, '127.0.0.1').on('error', () => {});
  sockets.push(socket);
  await once(socket, 'connect');
  return socket;
}
async function everything(socket: Socket): Promise<string> {
  let text = '';
  socket.on('data', (chunk) => {
    text += chunk;
  });
  await once(socket, 'close');
  return text;
}

describe('crowds and slow senders', () => {
  it('sheds sockets over the limit with one clear answer; an app that is in can still disarm', async () => {
    const glove = new FakeGlove();
    stream = await serve([glove], { maxClients: 2 }, { limits: { httpSockets: 2 } });
    const app = await App.connect(stream.port);
    await app.ask({ type: 'arm' });
    for (let i = 0; i < 3; i++) await open();
    for (let i = 0; i < 5; i++) {
      const answer = await everything(await open());
      expect(answer).toMatch(/^HTTP\/1.1 503 /);
      expect(answer).toContain('"tooMany"');
    }
    expect(await app.ask({ type: 'disarm' })).toMatchObject({ type: 'ack', armed: false });
    expect(glove.armed).toBe(false);
    // Room is made as sockets leave.
    const left = sockets[0];
    left.destroy();
    let status = '';
    while (!status.startsWith('HTTP/1.1 200')) {
      const socket = await open();
      socket.write('GET /health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n');
      status = await everything(socket);
    }
  });

  it('shuts out sockets that send nothing, or a head byte by byte', async () => {
    stream = await serve([new FakeGlove()], {}, { limits: { headersWithinMs: 100, requestWithinMs: 200 } });
    const silent = await open();
    const slow = await open();
    slow.write('GET /health HTTP/1.1\r\nHost: loc');
    const body = await open();
    body.write('POST /fits/hand HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900\r\n\r\n{');
    const answers = await Promise.all([silent, slow, body].map(everything));
    expect(answers[1]).toMatch(/^HTTP\/1.1 408 |^$/);
  });
});
