import { randomBytes } from 'node:crypto';
import { connect, type Socket } from 'node:net';

/**
 * A client on a bare TCP socket (RFC 6455 by hand), so that a test decides when it reads and whether it
 * answers pings.
 */
export class RawApp {
  readonly texts: string[] = [];
  pings = 0;
  #pinged = Buffer.alloc(0);
  #bytes = Buffer.alloc(0);
  #open = false;
  #wake: () => void = () => {};
  closed = false;

  constructor(
    readonly socket: Socket,
    readonly answersPings: boolean,
  ) {
    socket.on('data', (chunk) => {
      this.#bytes = Buffer.concat([this.#bytes, chunk]);
      this.#parse();
      this.#wake();
    });
    socket.on('error', () => {});
    socket.on('close', () => {
      this.closed = true;
      this.#wake();
    });
  }

  static async connect(port: number, answersPings = true): Promise<RawApp> {
    const app = new RawApp(connect(port, '127.0.0.1'), answersPings);
    app.socket.write(
      `GET /stream HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n` +
        `Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: ${randomBytes(16).toString('base64')}\r\n\r\n`,
    );
    await app.reached(() => app.#open);
    return app;
  }

  send(opcode: number, payload: Buffer, fin = true): void {
    const mask = randomBytes(4);
    const first = (fin ? 0x80 : 0) | opcode;
    const header =
      payload.length < 126
        ? Buffer.from([first, 0x80 | payload.length])
        : payload.length < 65_536
          ? Buffer.from([first, 0x80 | 126, payload.length >> 8, payload.length & 255])
          : Buffer.from([
              first,
              0x80 | 127,
              0,
              0,
              0,
              0,
              0,
              payload.length >> 16,
              payload.length >> 8,
              payload.length,
            ]);
    this.socket.write(Buffer.concat([header, mask, payload.map((byte, i) => byte ^ mask[i & 3])]));
  }
  sendText = (message: object) => this.send(1, Buffer.from(JSON.stringify(message)));
  /** Answers the last ping. */
  pong = () => this.send(10, this.#pinged);

  /** Messages of this type, in the order they came. */
  of(type: string): ({ seq: number } & Record<string, unknown>)[] {
    return this.texts.map((text) => JSON.parse(text)).filter((message) => message.type === type);
  }

  async reached(condition: () => boolean): Promise<void> {
    while (!condition()) {
      if (this.closed) throw new Error('closed');
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
  }

  async end(): Promise<void> {
    while (!this.closed) {
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
  }

  #parse(): void {
    let at = 0;
    const bytes = this.#bytes;
    if (!this.#open) {
      const end = bytes.indexOf('\r\n\r\n');
      if (end < 0) return;
      this.#open = true;
      at = end + 4;
    }
    while (bytes.length >= at + 2) {
      const short = bytes[at + 1] & 0x7f;
      const headerBytes = short < 126 ? 2 : short === 126 ? 4 : 10;
      if (bytes.length < at + headerBytes) break;
      const length =
        short < 126
          ? short
          : short === 126
            ? bytes.readUInt16BE(at + 2)
            : Number(bytes.readBigUInt64BE(at + 2));
      if (bytes.length < at + headerBytes + length) break;
      const payload = bytes.subarray(at + headerBytes, at + headerBytes + length);
      const opcode = bytes[at] & 15;
      if (opcode === 1) this.texts.push(payload.toString());
      if (opcode === 9) {
        this.pings++;
        this.#pinged = Buffer.from(payload);
        if (this.answersPings) this.send(10, payload);
      }
      at += headerBytes + length;
    }
    this.#bytes = bytes.subarray(at);
  }
}
