import { createHash } from 'node:crypto';
import type { IncomingMessage } from 'node:http';
import type { Duplex } from 'node:stream';

/** RFC 6455, 1.3. */
const GUID = '258EAFA5-E914-47DA-95CA-C5AB0DC85B11';
const VERSION = '13';
/** 16 bytes in base64. */
const KEY = /^[A-Za-z0-9+/]{22}==$/;

export interface HandshakeFault {
  status: 400 | 405 | 426;
  message: string;
}

/** Why a request does not open a WebSocket (RFC 6455, 4.2.1); undefined when it does. */
export function handshakeFault({ method, headers }: IncomingMessage): HandshakeFault | undefined {
  if (method !== 'GET') return { status: 405, message: 'A WebSocket is opened with GET.' };
  if (headers.upgrade?.toLowerCase() !== 'websocket') {
    return { status: 400, message: 'The stream speaks WebSocket: the Upgrade header must say so.' };
  }
  if (headers['sec-websocket-version'] !== VERSION) {
    return { status: 426, message: `The WebSocket version must be ${VERSION}.` };
  }
  if (!KEY.test(headers['sec-websocket-key'] ?? '')) {
    return { status: 400, message: 'The Sec-WebSocket-Key header is missing or not 16 bytes in base64.' };
  }
  return undefined;
}

/** Answers a valid request (RFC 6455, 4.2.2). No extension is accepted, so no small message can expand to a large one. */
export function acceptHandshake(
  request: IncomingMessage,
  socket: Duplex,
  subprotocol: string | undefined,
): void {
  const accept = createHash('sha1')
    .update(request.headers['sec-websocket-key'] + GUID)
    .digest('base64');
  const lines = [
    'HTTP/1.1 101 Switching Protocols',
    'Upgrade: websocket',
    'Connection: Upgrade',
    `Sec-WebSocket-Accept: ${accept}`,
    ...(subprotocol === undefined ? [] : [`Sec-WebSocket-Protocol: ${subprotocol}`]),
  ];
  socket.write(`${lines.join('\r\n')}\r\n\r\n`);
}
