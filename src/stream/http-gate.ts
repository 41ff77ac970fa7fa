import type { IncomingMessage, Server, ServerResponse } from 'node:http';
import type { Socket } from 'node:net';
import type { Duplex } from 'node:stream';
import { ConnectionBurst } from './connection-burst.js';
import { hasWord } from './disarm-word.js';

/**
 * Lets HTTP requests through one by one. Node reads 64 KiB from a socket at a time and answers all the requests in
 * it, perhaps a thousand, before it looks at anything else; then the next socket may bring as many. Here each socket
 * passes on one request at a time, and the next when that is answered. Only a few sockets may do so between two looks
 * at gloves and streams. A request that means to disarm goes first.
 *
 *   socket ── bytes ──> gate ── the bytes of one request ──> Node's parser ──> routes
 */

/** Sockets that may pass on a request between two looks at everything else. */
const AT_ONCE = 4;
/** Of a body, at a time. */
const PIECE_BYTES = 16 * 1024;
/** The word is looked for in this much of a request: usually its first line. */
const FIRST_LINE_BYTES = 512;

type Deliver = (this: Socket, bytes: Buffer) => void;

export interface HttpGate {
  /** The socket is now used otherwise: bytes that have arrived unread stay in it. */
  release(socket: Duplex): void;
}

/** Puts itself between the sockets of a server and its parser. Call it before the server listens. */
export function gateHttp(server: Server, burst = new ConnectionBurst()): HttpGate {
  const gates = new Map<Duplex, Gate>();
  const waiting = new Set<Gate>();
  let serving = 0;
  let servedMs = Number.NEGATIVE_INFINITY;

  /** A few queues, each with one request at a time: whatever a request sets off is over before the next in its queue. */
  function serve(): void {
    const [gate] = waiting;
    if (!gate) {
      serving--;
      return;
    }
    const nowMs = performance.now();
    if (!burst.defers(servedMs, nowMs)) {
      servedMs = nowMs;
      waiting.delete(gate);
      gate.give();
    }
    setImmediate(serve);
  }

  function wait(gate: Gate): void {
    waiting.add(gate);
    if (serving >= AT_ONCE) return;
    serving++;
    setImmediate(serve);
  }

  // After Node's own listener, which this replaces.
  server.on('connection', (socket: Socket) => {
    burst.connected(performance.now());
    const listeners = socket.listeners('data');
    if (listeners.length !== 1)
      throw new Error('http-gate: this version of Node reads its sockets differently');
    const deliver = listeners[0] as Deliver;
    socket.removeListener('data', deliver);
    const gate = new Gate(socket, deliver, wait);
    gates.set(socket, gate);
    socket.on('data', gate.take);
    socket.once('close', () => {
      gates.delete(socket);
      waiting.delete(gate);
    });
  });
  server.prependListener('request', (request: IncomingMessage, response: ServerResponse) => {
    gates.get(request.socket)?.began(request, response);
  });

  return {
    release(socket) {
      const gate = gates.get(socket);
      if (!gate) return;
      gates.delete(socket);
      waiting.delete(gate);
      gate.release();
    },
  };
}

/** One socket. */
class Gate {
  #bytes: Buffer = Buffer.alloc(0);
  /** The request that is being answered. */
  #request: IncomingMessage | undefined;

  constructor(
    readonly socket: Socket,
    readonly deliver: Deliver,
    readonly wait: (gate: Gate) => void,
  ) {}

  readonly take = (chunk: Buffer): void => {
    this.#bytes = this.#bytes.length === 0 ? chunk : Buffer.concat([this.#bytes, chunk]);
    // One more chunk may arrive; the rest stays with the sender.
    this.socket.pause();
    this.#next();
  };

  began(request: IncomingMessage, response: ServerResponse): void {
    this.#request = request;
    response.once('close', () => {
      if (this.#request === request) this.#request = undefined;
      this.#next();
    });
  }

  /** Gives the parser the bytes of one request, or some of its body. */
  give(): void {
    if (this.socket.destroyed || !this.#mayGive()) return;
    const length = endOfHead(this.#bytes) ?? Math.min(this.#bytes.length, PIECE_BYTES);
    const bytes = this.#bytes.subarray(0, length);
    this.#bytes = this.#bytes.subarray(length);
    this.deliver.call(this.socket, bytes);
    this.#next();
  }

  release(): void {
    this.socket.removeListener('data', this.take);
    if (this.#bytes.length > 0) this.socket.unshift(this.#bytes);
    this.#bytes = Buffer.alloc(0);
  }

  #mayGive(): boolean {
    return this.#bytes.length > 0 && (this.#request === undefined || !this.#request.complete);
  }

  #next(): void {
    if (this.#bytes.length === 0) {
      if (this.socket.isPaused()) this.socket.resume();
    } else if (!this.#mayGive()) return;
    else if (hasWord(this.#bytes.toString('latin1', 0, FIRST_LINE_BYTES))) this.give();
    else this.wait(this);
  }
}

/** Where the head of a request ends: after an empty line, which some clients write without a carriage return. */
function endOfHead(bytes: Buffer): number | undefined {
  for (let at = bytes.indexOf(10); at >= 0 && at < PIECE_BYTES; at = bytes.indexOf(10, at + 1)) {
    const next = bytes[at + 1] === 13 ? at + 2 : at + 1;
    if (bytes[next] === 10) return next + 1;
  }
  return undefined;
}
