import { once } from 'node:events';
import { connect, type Socket } from 'node:net';
import { afterEach, describe, expect, it } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, armAsWearer, serve } from './app.js';
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
  if (!socket.closed) await once(socket, 'close');
  return text;
}

describe('crowds and slow senders', () => {
  it('a flood of silent sockets keeps nobody from disarming, by stream or by HTTP', async () => {
    const glove = new FakeGlove();
    stream = await serve([glove], { maxClients: 2 }, { limits: { httpSockets: 3 } });
    const app = await App.connect(stream.port);
    await armAsWearer(stream.port);
    const answers: Promise<string>[] = [];
    for (let i = 0; i < 12; i++) answers.push(everything(await open()));
    // Whoever has waited longest makes room, with one clear answer.
    const first = await answers[0];
    expect(first).toMatch(/^HTTP\/1.1 503 /);
    expect(first).toContain('"tooMany"');
    const response = await fetch(`http://127.0.0.1:${stream.port}/disarm`, { method: 'POST' });
    expect(response.status).toBe(200);
    expect(glove.armed).toBe(false);
    expect(await app.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
  });

  it('a place that was held for long without a word goes to a newcomer; one that is used does not', async () => {
    stream = await serve([new FakeGlove()], { maxClients: 2 }, { limits: { speakWithinMs: 0 } });
    const silent = await App.connect(stream.port);
    const busy = await App.connect(stream.port);
    await busy.ask({ type: 'ping' });
    const newcomer = await App.connect(stream.port);
    expect(await newcomer.ask({ type: 'subscribe' })).toMatchObject({ type: 'ack' });
    expect(await silent.end()).toMatchObject({ code: 1013, reason: 'asked for nothing' });
    const late = await App.connect(stream.port);
    expect(await late.end()).toMatchObject({ code: 1013, reason: 'too many apps' });
    expect(await busy.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
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

  it('takes no compression, however it is offered: a small message cannot swell', async () => {
    stream = await serve([new FakeGlove()]);
    const app = await App.connect(stream.port, undefined, { perMessageDeflate: true });
    expect(app.ws.extensions).toBe('');
    app.ws.terminate();
  });
});
