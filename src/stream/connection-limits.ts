import type { Server } from 'node:http';
import type { Socket } from 'node:net';
import { isLoopback } from '../config/address.js';

/** Limits on sockets, before anything is known about who is behind them. */
export interface ConnectionLimits {
  /** Sockets that are not (yet) a stream; beyond that, the one that has waited longest makes room. */
  httpSockets: number;
  /** Sockets from one other machine; beyond that, new ones are refused. Programs on this machine share one address. */
  maxSocketsPerAddress: number;
}

export interface ConnectionCounts {
  /** Sockets that are not a stream. */
  readonly open: number;
  readonly refused: { address: number; crowded: number };
  /** The socket has become a stream: it counts as an app from now on. */
  becameStream(socket: unknown): void;
}

/**
 * Keeps a flood of connections from shutting others out. When there are too many, the one that has waited longest
 * without a request is turned away, not the newcomer. So a `POST /disarm`, which makes its request at once, gets
 * through however many others stay open.
 */
export function limitConnections(
  server: Server,
  limits: ConnectionLimits,
  crowded: (reason: 'address' | 'crowded', address: string) => void,
): ConnectionCounts {
  /** Oldest first. The value: how many requests are being answered. */
  const sockets = new Map<Socket, { address: string; busy: number }>();
  const refused = { address: 0, crowded: 0 };

  server.on('connection', (socket: Socket) => {
    const address = socket.remoteAddress ?? '';
    if (!isLoopback(address) && count(address) >= limits.maxSocketsPerAddress) {
      refused.address++;
      crowded('address', address);
      turnAway(socket, `More than ${limits.maxSocketsPerAddress} connections from one address; close some.`);
      return;
    }
    if (sockets.size >= limits.httpSockets) {
      const [oldest] = [...sockets].find(([, { busy }]) => busy === 0) ?? [socket];
      refused.crowded++;
      crowded('crowded', address);
      sockets.delete(oldest);
      turnAway(oldest, `More than ${limits.httpSockets} connections without a request; try again.`);
      if (oldest === socket) return;
    }
    sockets.set(socket, { address, busy: 0 });
    socket.once('close', () => sockets.delete(socket));
  });
  server.on('request', (request, response) => {
    const entry = sockets.get(request.socket);
    if (!entry) return;
    entry.busy++;
    response.once('close', () => entry.busy--);
  });

  function count(address: string): number {
    let same = 0;
    for (const entry of sockets.values()) if (entry.address === address) same++;
    return same;
  }

  return {
    get open() {
      return sockets.size;
    },
    refused,
    becameStream(socket) {
      sockets.delete(socket as Socket);
    },
  };
}

/** One clear refusal, then the end, even for a peer that never reads it. */
function turnAway(socket: Socket, message: string): void {
  socket.on('error', () => socket.destroy());
  const body = JSON.stringify({ code: 'tooMany', message });
  socket.end(
    'HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 1\r\nContent-Type: application/json\r\n' +
      `Content-Length: ${Buffer.byteLength(body)}\r\n\r\n${body}`,
    () => socket.destroy(),
  );
}
