import { STREAM_PATH, SUBPROTOCOL_BINARY } from '../stream/constants.js';
import type { AppMessage, ServerMessage, ServerMessageOf } from '../stream/protocol.js';
import { createSignal } from './signal.js';
import { readToken } from './token.js';

export type Ack = ServerMessageOf<'ack'>;
type Request = AppMessage extends infer M ? (M extends unknown ? Omit<M, 'id'> : never) : never;

/** A refused request. */
export class Refused extends Error {
  constructor(
    readonly code: string,
    message: string,
  ) {
    super(message);
  }
}

const WAITS_MS = [250, 500, 1000, 2000];
/** Nothing at all for this long, although something comes every second: the socket is dead. */
const SILENT_MS = 5000;
const ANSWER_WITHIN_MS = 3000;

export type Connection = ReturnType<typeof createConnection>;

/** The stream, opened again for as long as the page lives. */
export function createConnection() {
  const state = createSignal<boolean>();
  const messages = createSignal<ServerMessage>();
  const records = createSignal<ArrayBuffer>();
  const pending = new Map<number, { resolve(ack: Ack): void; reject(error: Refused): void }>();
  let socket: WebSocket | undefined;
  let open = false;
  let attempts = 0;
  let lastId = 0;
  let heardMs = 0;

  function connect(): void {
    const url = new URL(STREAM_PATH, location.href.replace(/^http/, 'ws'));
    const token = readToken();
    if (token !== undefined) url.searchParams.set('token', token);
    const opening = new WebSocket(url, SUBPROTOCOL_BINARY);
    socket = opening;
    opening.binaryType = 'arraybuffer';
    heardMs = performance.now();
    opening.onmessage = ({ data }) => {
      heardMs = performance.now();
      if (typeof data === 'string') take(JSON.parse(data) as ServerMessage);
      else records.emit(data as ArrayBuffer);
    };
    opening.onclose = () => {
      if (socket === opening) lost();
    };
  }

  function take(message: ServerMessage): void {
    if (message.type === 'welcome' && !open) {
      open = true;
      attempts = 0;
      messages.emit(message);
      state.emit(true);
      return;
    }
    if (message.type === 'ack' || message.type === 'error') {
      const waiting = pending.get(message.id as number);
      pending.delete(message.id as number);
      if (message.type === 'ack') waiting?.resolve(message);
      else waiting?.reject(new Refused(message.code, message.message));
    }
    messages.emit(message);
  }

  function lost(): void {
    const closing = socket;
    socket = undefined;
    closing?.close();
    if (open) {
      open = false;
      state.emit(false);
    }
    for (const { reject } of pending.values()) reject(new Refused('connectionLost', 'The connection ended.'));
    pending.clear();
    setTimeout(connect, WAITS_MS[Math.min(attempts++, WAITS_MS.length - 1)]);
  }

  setInterval(() => {
    if (socket && performance.now() - heardMs > SILENT_MS) lost();
  }, 1000);

  return {
    state,
    messages,
    records,
    connect,
    get open() {
      return open;
    },
    /** Sends a request; rejects with Refused when it is refused or cannot be sent. */
    ask(request: Request): Promise<Ack> {
      if (!open || !socket) {
        return Promise.reject(new Refused('notConnected', 'There is no connection to the service.'));
      }
      const id = ++lastId;
      socket.send(JSON.stringify({ ...request, id }));
      return new Promise((resolve, reject) => {
        pending.set(id, { resolve, reject });
        setTimeout(() => {
          if (pending.delete(id)) reject(new Refused('noAnswer', 'The service did not answer in time.'));
        }, ANSWER_WITHIN_MS);
      });
    },
  };
}
