import { once } from 'node:events';
import { createServer, type Server } from 'node:http';
import { type AddressInfo, connect, type Socket } from 'node:net';
import fc from 'fast-check';
import { afterEach, describe, expect, it } from 'vitest';
import { gateHttp } from '../../src/stream/http-gate.js';
import type { Stream } from '../../src/stream/server.js';
import { serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

let server: Server | undefined;
let stream: Stream | undefined;
const sockets: Socket[] = [];
afterEach(async () => {
  for (const socket of sockets.splice(0)) socket.destroy();
  server?.close();
  await stream?.close();
  server = undefined;
  stream = undefined;
});

async function open(port: number): Promise<Socket> {
  const socket = connect(port, '127.0.0.1').on('error', () => {});
  sockets.push(socket);
  await once(socket, 'connect');
  return socket;
}

/** A gated server that answers with what it was sent, and a list of what it has been asked. */
async function echo() {
  const asked: string[] = [];
  server = createServer((request, response) => {
    asked.push(request.url ?? '');
    let body = '';
    request.on('data', (chunk) => {
      body += chunk;
    });
    request.on('end', () => response.end(`[${request.method} ${request.url} ${body}]`));
  });
  gateHttp(server);
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  return { asked, port: (server.address() as AddressInfo).port };
}

/** All that a socket says until that many answers have come. */
async function answers(socket: Socket, count: number): Promise<string[]> {
  let text = '';
  for await (const chunk of socket) {
    text += chunk;
    const found = text.match(/\[.*?\]/gs) ?? [];
    if (found.length >= count) return found;
  }
  throw new Error(`closed after ${text}`);
}

describe('the gate before HTTP', () => {
  it('lets every request through as it is, in order, wherever its bytes are cut', async () => {
    const { port } = await echo();
    const body = fc.constantFrom(
      '',
      'x',
      '\n\n',
      '\r\n\r\n',
      'a\n\nb\r\n\r\nGET / HTTP/1.1\r\n\r\n',
      'y'.repeat(40_000),
    );
    const request = fc.record({ body, chunked: fc.boolean() });
    await fc.assert(
      fc.asyncProperty(
        fc.array(request, { minLength: 1, maxLength: 6 }),
        fc.array(fc.nat(), { maxLength: 6 }),
        async (requests, cuts) => {
          const bytes = Buffer.from(
            requests
              .map(({ body, chunked }, i) => {
                const head = `POST /${i} HTTP/1.1\r\nHost: x\r\n`;
                if (!chunked) return `${head}Content-Length: ${body.length}\r\n\r\n${body}`;
                const chunk = body.length > 0 ? `${body.length.toString(16)}\r\n${body}\r\n` : '';
                return `${head}Transfer-Encoding: chunked\r\n\r\n${chunk}0\r\n\r\n`;
              })
              .join(''),
          );
          const socket = await open(port);
          const said = answers(socket, requests.length);
          const ends = [...new Set([...cuts.map((cut) => cut % bytes.length), bytes.length])].sort(
            (a, b) => a - b,
          );
          for (const [i, end] of ends.entries()) {
            socket.write(bytes.subarray(ends[i - 1] ?? 0, end));
            await new Promise(setImmediate);
          }
          expect(await said).toEqual(requests.map(({ body }, i) => `[POST /${i} ${body}]`));
          socket.destroy();
        },
      ),
      { numRuns: 60 },
    );
  });

  it('lets few through at a time: other events come between', async () => {
    const { asked, port } = await echo();
    const floods = await Promise.all(Array.from({ length: 20 }, () => open(port)));
    const many = 'GET /many HTTP/1.1\r\nHost: x\r\n\r\n'.repeat(500);
    const seen: number[] = [];
    let done = false;
    const others = (async () => {
      while (!done) {
        const before = asked.length;
        await new Promise(setImmediate);
        seen.push(asked.length - before);
      }
    })();
    const all = floods.map((socket) => answers(socket, 500));
    for (const socket of floods) socket.write(many);
    await Promise.all(all);
    done = true;
    await others;
    expect(asked.length).toBe(10_000);
    expect(Math.max(...seen)).toBeLessThanOrEqual(8);
  });

  it('lets a disarm through before all that waits', async () => {
    const glove = new FakeGlove();
    stream = await serve([glove]);
    const floods = await Promise.all(Array.from({ length: 30 }, () => open(stream!.port)));
    const late = await open(stream.port);
    let answered = 0;
    for (const socket of floods) {
      socket.on('data', (chunk) => {
        answered += chunk.toString('latin1').split('HTTP/1.1 200').length - 1;
      });
      socket.write('GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n'.repeat(300));
    }
    while (answered < 20) await new Promise(setImmediate);
    glove.armed = true;
    const before = answered;
    late.write('POST /disarm HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\n\r\n');
    await glove.called('disarm');
    expect(answered - before).toBeLessThan(100);
  });
});
