import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import { WebSocketServer } from 'ws';

const { records } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8')) as {
  records: { name: string; hex: string }[];
};

/** Stands in for a service that sends a batch of poses, as fast as it can, whenever it is asked for `more`. */
export async function batchService() {
  const batch = 4000;
  const server = new WebSocketServer({
    port: 0,
    host: '127.0.0.1',
    handleProtocols: (offered) => [...offered][0],
  });
  await once(server, 'listening');
  const pose = Buffer.from(records.find(({ name }) => name === 'a right hand')!.hex, 'hex');
  server.on('connection', (socket) => {
    const server = { name: 'tautline', version: '0' };
    socket.send(JSON.stringify({ type: 'welcome', server, app: 'a', hands: [] }));
    const send = (left: number) => {
      // A few at a time, as they come from a service.
      for (let i = 0; i < Math.min(10, left); i++) socket.send(pose);
      if (left > 10) setImmediate(send, left - 10);
    };
    socket.on('message', (data) => {
      const text = data.toString();
      if (text === 'more') return send(batch);
      const { id, type } = JSON.parse(text);
      socket.send(JSON.stringify({ type: 'ack', id, for: type, timeUs: 0 }));
    });
  });
  return {
    batch,
    url: `ws://127.0.0.1:${(server.address() as AddressInfo).port}/stream`,
    close() {
      for (const socket of server.clients) socket.terminate();
      server.close();
    },
  };
}
