import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import { WebSocketServer } from 'ws';

const { records } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8')) as {
  records: { hex: string }[];
};
const TEXTS = [
  '{"type":"resistance","hand":"right","armed":true,"fingers":{"index":{"curl":0.5,"effort":1,"limits":[]}}}',
  '{"type":"inputs","hand":"left","values":{"/user/hand/left/input/trigger/value":0.25,"b":true}}',
  '{"type":"ack","id":257,"for":"resist","timeUs":1e9,"limited":"\\u00e9"}',
  '{"type":"error","id":257,"code":"tryAgain","message":"Ask again.","path":"/a"}',
  '{"type":"welcome","server":{"version":"1"},"hands":[{"hand":"right","armed":true}]}',
  'null',
  '{"type":"welcome","hands":[null]}',
  '{"type":"gestures","hand":"right","states":{},"touches":[{"by":"a","layer":"hold1","fingers":["thumb"],"carried":true}]}',
  `${'['.repeat(5000)}`,
  `{"type":"ack","id":${'9'.repeat(400)}}`,
];

/**
 * Greets as the service does, then sends what no service sends: damaged messages, and in the end frames that break the
 * rules. The same at every run.
 */
export async function hostileService(): Promise<{ url: string; met(): number; close(): void }> {
  let seed = 1;
  const random = (below: number) => {
    // Numerical Recipes' linear congruential generator.
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
    return Math.floor((seed / 2 ** 32) * below);
  };
  const damaged = (bytes: Buffer, below: number): Buffer => {
    const copy = Buffer.from(bytes.subarray(0, random(4) === 0 ? random(bytes.length + 1) : bytes.length));
    for (let i = random(4); i > 0 && copy.length > 0; i--) copy[random(copy.length)] = random(below);
    return copy;
  };
  const server = new WebSocketServer({
    port: 0,
    host: '127.0.0.1',
    handleProtocols: (offered) => [...offered][0],
  });
  await once(server, 'listening');
  let met = 0;
  server.on('connection', (socket, { socket: raw }) => {
    met++;
    socket.on('error', () => {});
    socket.send(TEXTS[4]);
    for (let i = 0; i < 300; i++) {
      const binary = random(2) === 0;
      const whole = binary
        ? Buffer.from(records[random(records.length)].hex, 'hex')
        : Buffer.from(TEXTS[random(TEXTS.length)]);
      // A library that checks text for UTF-8 hangs up at the first letter that is none: let it come further every other time.
      socket.send(damaged(whole, binary || met % 2 === 0 ? 256 : 128), { binary });
    }
    raw.write(Buffer.from(Array.from({ length: 1 + random(40) }, () => random(256))));
    setTimeout(() => raw.destroy(), 50);
  });
  return {
    url: `ws://127.0.0.1:${(server.address() as AddressInfo).port}/stream`,
    met: () => met,
    close() {
      for (const socket of server.clients) socket.terminate();
      server.close();
    },
  };
}
