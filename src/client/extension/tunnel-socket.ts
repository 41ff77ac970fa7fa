import type { SocketLike } from '../socket.js';
import { OPEN_KEY, type ToPage } from './messages.js';

const CONNECTING = 0;
const OPEN = 1;
const CLOSED = 3;

/** In the place of a WebSocket: leads to the service through the extension. The address is the worker's to know. */
export class TunnelSocket implements SocketLike {
  binaryType = 'arraybuffer';
  readyState: number = CONNECTING;
  onopen: ((event: never) => void) | null = null;
  onmessage: ((event: { data: unknown }) => void) | null = null;
  onclose: ((event: { code: number; reason: string }) => void) | null = null;
  onerror: ((event: never) => void) | null = null;
  readonly #port: MessagePort;

  constructor() {
    const { port1, port2 } = new MessageChannel();
    this.#port = port1;
    port1.onmessage = ({ data }: MessageEvent<string | ArrayBuffer | ToPage>) => this.#take(data);
    // To this very window: the bridge listens in it.
    window.postMessage(OPEN_KEY, '/', [port2]);
  }

  send(text: string): void {
    if (this.readyState === OPEN) this.#port.postMessage(text);
  }

  close(): void {
    if (this.readyState === CLOSED) return;
    this.readyState = CLOSED;
    this.#port.postMessage({ close: true });
    this.#port.close();
  }

  #take(data: string | ArrayBuffer | ToPage): void {
    if (typeof data === 'string' || data instanceof ArrayBuffer) this.onmessage?.({ data });
    else if ('opened' in data) {
      this.readyState = OPEN;
      this.onopen?.({} as never);
    } else if (this.readyState !== CLOSED) {
      const [code, reason] = data.closed;
      this.close();
      this.onclose?.({ code, reason });
    }
  }
}
