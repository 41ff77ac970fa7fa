import type { Server } from 'node:http';
import type { Socket } from 'node:net';
import { isLoopback } from '../config/address.js';

export interface CrowdLimits {
  /** Sockets at once, of apps and of HTTP together. */
  maxSockets: number;
  /** Of these from one other machine. Programs of this machine all come from one address: for them the total counts. */
  maxSocketsPerAddress: number;
}

/** Sheds sockets over the limits with one clear answer, before anything they send is read. */
export function limitCrowd(server: Server, limits: CrowdLimits, refused: (address: string) => void): void {
  const perAddress = new Map<string, number>();
  let total = 0;
  server.prependListener('connection', (socket: Socket) => {
    const address = (socket.remoteAddress ?? '').replace(/^::ffff:/, '');
    const ofAddress = perAddress.get(address) ?? 0;
    total++;
    perAddress.set(address, ofAddress + 1);
    socket.once('close', () => {
      total--;
      const left = perAddress.get(address)! - 1;
      if (left > 0) perAddress.set(address, left);
      else perAddress.delete(address);
    });
    if (total <= limits.maxSockets && (isLoopback(address) || ofAddress < limits.maxSocketsPerAddress))
      return;
    refused(address);
    const body = JSON.stringify({
      code: 'tooMany',
      message: 'Too many connections at once. Close some, or raise stream.maxClients in the profile.',
    });
    socket.on('error', () => socket.destroy());
    socket.end(
      'HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nContent-Type: application/json\r\n' +
        `Content-Length: ${Buffer.byteLength(body)}\r\n\r\n${body}`,
      () => socket.destroy(),
    );
  });
}
