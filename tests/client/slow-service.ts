import { once } from 'node:events';
import type { AddressInfo } from 'node:net';
import { WebSocketServer } from 'ws';

export interface SlowService {
  url: string;
  /** Says that the wearer has disarmed; what was asked before is still answered, late. */
  disarm(): void;
  close(): void;
}

/** Stands in for a service that is armed, and so busy that every answer takes `delayMs`. */
export async function slowService(delayMs: number): Promise<SlowService> {
  const server = new WebSocketServer({
    port: 0,
    host: '127.0.0.1',
    handleProtocols: (offered) => [...offered][0],
  });
  await once(server, 'listening');
  server.on('connection', (socket) => {
    const hands = [{ hand: 'right', name: 'glove', armed: true, howToArm: 'press it' }];
    socket.send(JSON.stringify({ type: 'welcome', server: { name: 'tautline', version: '0' }, hands }));
    socket.on('message', (data) => {
      const { id, type } = JSON.parse(data.toString());
      const answer = JSON.stringify({ type: 'ack', id, for: type, timeUs: 0 });
      setTimeout(() => socket.send(answer), delayMs);
    });
  });
  return {
    url: `ws://127.0.0.1:${(server.address() as AddressInfo).port}/stream`,
    disarm() {
      const report = JSON.stringify({ type: 'resistance', hand: 'right', armed: false, fingers: {} });
      for (const socket of server.clients) socket.send(report);
    },
    close() {
      for (const socket of server.clients) socket.terminate();
      server.close();
    },
  };
}
