import type { AppMessage, ServerMessage, ServerMessageOf } from '../protocol/messages.js';
import { messageOf } from './checked.js';
import { ClientError } from './errors.js';
import { type Encoding, findWebSocket, type SocketClass, type SocketLike, SUBPROTOCOL } from './socket.js';

/**
 * connecting -> open -> waiting -> connecting -> … until closed.
 * `open` begins with the service's welcome; `waiting` is the pause before the next attempt.
 */
export type ConnectionState = 'connecting' | 'open' | 'waiting' | 'closed';

export interface ConnectionListener {
  state(state: ConnectionState, reason: string | undefined): void;
  message(message: ServerMessage): void;
  /** A binary record. */
  record(bytes: ArrayBuffer | Uint8Array): void;
  error(error: ClientError): void;
}

type Request = AppMessage extends infer M ? (M extends unknown ? Omit<M, 'id'> : never) : never;
export type Ack = ServerMessageOf<'ack'>;
interface Pending {
  resolve(ack: Ack): void;
  reject(error: ClientError): void;
  timer: ReturnType<typeof setTimeout>;
}

const FIRST_WAIT_MS = 200;
const LONGEST_WAIT_MS = 5000;
/** Without a welcome within this time, whatever listens there is not the service. */
const WELCOME_WITHIN_MS = 10_000;
const ANSWER_WITHIN_MS = 5000;
/** WebSocket.OPEN. */
const OPEN = 1;

/** One WebSocket to the service, reopened for as long as it takes. */
export class Connection {
  state: ConnectionState = 'waiting';
  /** Counts what arrives, around and around. A time would be garbage for every pose. */
  heard = 0;
  #socket: SocketLike | undefined;
  #attempts = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #lastId = 0;
  /** The line that the service sent before it closed; it says more than a close code. */
  #complaint: string | undefined;
  readonly #pending = new Map<number, Pending>();

  constructor(
    readonly url: string,
    readonly encoding: Encoding,
    readonly listener: ConnectionListener,
    private socketClass?: SocketClass,
  ) {}

  /** Sends a request. Rejects with a ClientError; never waits for a connection, so that no force is asked late. */
  ask(request: Request): Promise<Ack> {
    // A socket that is closing may not have said so yet, but accepts nothing more.
    if (this.state !== 'open' || this.#socket?.readyState !== OPEN) {
      return Promise.reject(
        this.state === 'closed'
          ? new ClientError('closed', 'The client was closed.')
          : new ClientError('notConnected', `There is no connection to ${shown(this.url)} now.`),
      );
    }
    const id = ++this.#lastId;
    const text = JSON.stringify({ ...request, id });
    return new Promise<Ack>((resolve, reject) => {
      const timer = setTimeout(() => {
        this.#pending.delete(id);
        reject(new ClientError('noAnswer', `The service did not answer ${request.type} in time.`));
      }, ANSWER_WITHIN_MS);
      this.#pending.set(id, { resolve, reject, timer });
      this.#socket?.send(text);
    });
  }

  async open(): Promise<void> {
    clearTimeout(this.#timer);
    this.#become('connecting', undefined);
    try {
      this.socketClass ??= await findWebSocket();
      // Closed while the class was being loaded.
      if (this.state !== 'connecting') return;
      this.#begin(new this.socketClass(this.url, SUBPROTOCOL[this.encoding]));
    } catch (error) {
      const known =
        error instanceof ClientError ? error : new ClientError('notConnected', (error as Error).message);
      this.listener.error(known);
      this.#wait(known.message);
    }
  }

  close(): void {
    if (this.state === 'closed') return;
    clearTimeout(this.#timer);
    this.#become('closed', undefined);
    this.#abandon(new ClientError('closed', 'The client was closed.'), 1000);
  }

  /** Gives this socket up and tries again: it looks open but nothing comes. */
  drop(reason: string): void {
    if (this.state === 'closed') return;
    this.#abandon(new ClientError('connectionLost', reason), 4000);
    this.#wait(reason);
  }

  #begin(socket: SocketLike): void {
    this.#socket = socket;
    this.#complaint = undefined;
    // `ws` gives its own bytes by default, uncopied.
    if (socket.binaryType !== 'nodebuffer') socket.binaryType = 'arraybuffer';
    this.#timer = setTimeout(() => this.drop('No welcome came in time.'), WELCOME_WITHIN_MS);
    socket.onmessage = ({ data }) => {
      this.heard = (this.heard + 1) & 0xffff;
      if (typeof data === 'string') this.#take(data);
      else this.listener.record(data as ArrayBuffer | Uint8Array);
    };
    // The reason comes with the close that follows; a browser tells none here.
    socket.onerror = () => {};
    socket.onclose = ({ code, reason }) => {
      const opened = this.state === 'open';
      const why =
        this.#complaint ??
        (opened
          ? `The connection ended${reason ? `: ${reason}` : ''} (${code}).`
          : `No service answers at ${shown(this.url)}, or it does not permit this app.`);
      this.#abandon(new ClientError('connectionLost', why), undefined);
      this.#wait(why);
    };
  }

  #take(text: string): void {
    const message = messageOf(text);
    if (message === undefined) {
      this.listener.error(new ClientError('badAnswer', `No message of the service: ${text.slice(0, 60)}`));
      return;
    }
    if (message.type === 'welcome' && this.state === 'connecting') {
      clearTimeout(this.#timer);
      this.#attempts = 0;
      this.#become('open', undefined);
    }
    if (message.type === 'ack' || message.type === 'error') {
      const pending = this.#settle(message.id);
      if (message.type === 'ack') pending?.resolve(message);
      else {
        const error = new ClientError(message.code, message.message, message.path);
        if (pending) pending.reject(error);
        else {
          this.#complaint = message.message;
          this.listener.error(error);
        }
      }
    }
    this.listener.message(message);
  }

  #settle(id: string | number | undefined): Pending | undefined {
    const pending = typeof id === 'number' ? this.#pending.get(id) : undefined;
    if (!pending) return undefined;
    clearTimeout(pending.timer);
    this.#pending.delete(id as number);
    return pending;
  }

  #abandon(error: ClientError, code: number | undefined): void {
    clearTimeout(this.#timer);
    const socket = this.#socket;
    this.#socket = undefined;
    if (socket) {
      socket.onmessage = socket.onclose = null;
      // `ws` throws what nobody listens to when a socket is closed before it is open.
      socket.onerror = () => {};
      if (code !== undefined) socket.close(code);
    }
    for (const id of [...this.#pending.keys()]) this.#settle(id)?.reject(error);
  }

  /** Doubling waits, each cut at random by up to a half so that apps do not all come back at once. */
  #wait(reason: string): void {
    const waitMs = Math.min(FIRST_WAIT_MS * 2 ** this.#attempts++, LONGEST_WAIT_MS);
    this.#become('waiting', reason);
    if (this.state !== 'waiting') return;
    this.#timer = setTimeout(() => void this.open(), waitMs * (0.5 + Math.random() / 2));
  }

  #become(state: ConnectionState, reason: string | undefined): void {
    this.state = state;
    this.listener.state(state, reason);
  }
}

/** The address without its token. */
const shown = (url: string): string => url.split('?', 1)[0];
