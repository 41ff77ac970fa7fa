import type { Duplex } from 'node:stream';
import { CLOSE, FrameReader, type Incoming, OPCODE } from './frame-reader.js';
import { tooLarge } from './refusals.js';
import { frameControl } from './websocket-frame.js';

/** Looked at in one go before others have their turn. */
const SLICE_BYTES = 16 * 1024;
const SLICE_FRAMES = 64;
/** A read of this size may have left more in the socket; a smaller one has emptied it (Node reads 64 KiB at a time). */
const FULL_READ_BYTES = 64 * 1024;
/** After the close frame the peer has this long to close its side. */
const CLOSE_GRACE_MS = 1000;
const LONGEST_REASON = 123;

export interface WireEvents {
  /** Bytes have arrived and wait to be looked at. */
  arrived(): void;
  message(message: Incoming): void;
  /** The word that frees fingers is in something that is not a whole message; `final`: and never will be. */
  word(final: boolean): void;
  /** @returns whether a ping may be answered */
  pinged(payload: Buffer): boolean;
  ponged(payload: Buffer): void;
  /** The message is larger than permitted. @param bytes as far as known */
  tooBig(bytes: number): void;
  /** The bytes are not an acceptable frame. */
  broke(reason: string): void;
  /** The app has ended its side or closed. What it had sent before is still looked at. Called once. */
  left(): void;
}

/** The server's end of one WebSocket (RFC 6455), without extensions. Messages that are already framed go straight to `socket`. */
export class Wire {
  /** Messages can be sent. */
  open = true;
  /** The newest read emptied the socket, so what it brought was sent a moment ago. */
  fresh = true;
  /** Resolves once the socket is gone. */
  readonly closed: Promise<void>;
  readonly #reader: FrameReader;
  /** Read but not looked at yet. */
  readonly #chunks: Buffer[] = [];
  #at = 0;
  #hasLeft = false;
  #grace: NodeJS.Timeout | undefined;

  constructor(
    readonly socket: Duplex,
    maxMessageBytes: number,
    readonly events: WireEvents,
  ) {
    this.#reader = new FrameReader(maxMessageBytes, {
      message: (message) => events.message(message),
      word: (final) => events.word(final),
      ping: (payload) => {
        if (events.pinged(payload) && this.open) socket.write(frameControl(OPCODE.pong, payload));
      },
      pong: (payload) => events.ponged(payload),
      close: (code) => this.#answerClose(code),
      fault: (code, reason, bytes) => {
        if (code === CLOSE.tooBig) events.tooBig(bytes);
        else events.broke(reason);
        this.#leave();
        // An app that was not listening for the error still hears how much too large it was.
        this.close(code, code === CLOSE.tooBig ? tooLarge(bytes, maxMessageBytes).message : reason);
      },
    });
    this.closed = new Promise((resolve) => {
      socket.on('close', () => {
        clearTimeout(this.#grace);
        this.open = false;
        this.#leave();
        resolve();
      });
    });
    socket.on('error', () => socket.destroy());
    // Before the closing handshake is over: forces must not outlast the app because of a slow close.
    socket.on('end', () => this.#answerClose(CLOSE.noStatus));
    socket.on('data', (chunk: Buffer) => this.take(chunk));
  }

  /** Bytes of input that are kept. */
  get keeps(): number {
    return this.#chunks.reduce((sum, { length }) => sum + length, this.#reader.keeps);
  }

  /** Bytes have arrived. */
  take(chunk: Buffer): void {
    this.fresh = chunk.length < FULL_READ_BYTES;
    this.#chunks.push(chunk);
    this.events.arrived();
    // One more may be on its way; the rest stays with the sender until there is time for it.
    if (this.#chunks.length > 0) this.socket.pause();
  }

  /** Looks at a slice of what has come. @returns whether there is more */
  look(): boolean {
    const [chunk] = this.#chunks;
    if (!chunk) return false;
    const to = Math.min(chunk.length, this.#at + SLICE_BYTES);
    this.#at = this.#reader.read(chunk, this.#at, to, SLICE_FRAMES);
    if (this.#at < chunk.length) return true;
    this.#chunks.shift();
    this.#at = 0;
    if (this.#chunks.length > 0) return true;
    if (this.socket.isPaused()) this.socket.resume();
    return false;
  }

  ping(payload: Buffer): void {
    if (this.open) this.socket.write(frameControl(OPCODE.ping, payload));
  }

  /** Says goodbye. The socket ends when the peer has said so too, or after a moment. */
  close(code: number, reason: string): void {
    if (!this.open) return;
    this.open = false;
    const payload = Buffer.alloc(2 + LONGEST_REASON);
    payload.writeUInt16BE(code);
    const bytes = 2 + payload.write(reason, 2);
    this.socket.write(frameControl(OPCODE.close, payload.subarray(0, code === CLOSE.noStatus ? 0 : bytes)));
    this.#grace = setTimeout(() => this.socket.destroy(), CLOSE_GRACE_MS);
    this.#grace.unref();
  }

  terminate(): void {
    this.open = false;
    this.socket.destroy();
  }

  #answerClose(code: number): void {
    this.#leave();
    this.close(code, '');
    this.socket.end();
  }

  #leave(): void {
    if (this.#hasLeft) return;
    this.#hasLeft = true;
    this.events.left();
  }
}
