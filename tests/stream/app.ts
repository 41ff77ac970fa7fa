import { once } from 'node:events';
import { Ajv } from 'ajv';
import { pino } from 'pino';
import { type ClientOptions, WebSocket } from 'ws';
import type { StreamProfile } from '../../src/config/schema.js';
import type { Glove } from '../../src/glove/glove.js';
import { type ServerMessage, ServerMessages, SUBPROTOCOL_BINARY } from '../../src/protocol/messages.js';
import { decodeJoints, type JointsRecord } from '../../src/stream/joints-record.js';
import { type StreamOptions, startStream } from '../../src/stream/server.js';

export { armAsWearer } from './arm.js';

const ajv = new Ajv({ strict: true, strictTypes: false, strictTuples: false });
const validators = Object.fromEntries(
  Object.entries(ServerMessages).map(([type, schema]) => [type, ajv.compile(schema)]),
);

/** Of an app that the profile permits to arm. */
export const TRUSTED_TOKEN = 'token-of-the-trusted-app';
export const PROFILE: StreamProfile = {
  host: '127.0.0.1',
  port: 0,
  origins: [],
  maxClients: 64,
  permissions: {
    anyApp: ['resist', 'record', 'guide'],
    apps: [{ name: 'Trusted', may: ['resist', 'record', 'guide', 'arm'], token: TRUSTED_TOKEN }],
  },
};
export const TRUSTED = { headers: { authorization: `Bearer ${TRUSTED_TOKEN}` } };

export function serve(
  gloves: Glove[],
  profile: Partial<StreamProfile> = {},
  more: Partial<StreamOptions> = {},
) {
  return startStream({
    gloves,
    profile: { ...PROFILE, ...profile },
    logger: pino({ level: 'silent' }),
    version: '0.0.0-test',
    ...more,
  });
}

/** An app on a real socket. Every message from the service is checked against its schema as it comes. */
export class App {
  readonly messages: ServerMessage[] = [];
  readonly records: JointsRecord[] = [];
  readonly schemaErrors: string[] = [];
  closed: { code: number; reason: string } | undefined;
  #wake: () => void = () => {};

  private constructor(readonly ws: WebSocket) {
    ws.on('message', (data: Buffer, isBinary) => {
      if (isBinary) this.records.push(decodeJoints(new Uint8Array(data)));
      else {
        const message = JSON.parse(data.toString()) as ServerMessage;
        const check = validators[message.type];
        if (!check?.(message)) {
          this.schemaErrors.push(`${message.type}: ${ajv.errorsText(check?.errors)}`);
        }
        this.messages.push(message);
      }
      this.#wake();
    });
    ws.on('close', (code, reason) => {
      this.closed = { code, reason: reason.toString() };
      this.#wake();
    });
  }

  static async connect(port: number, protocol?: string, options: ClientOptions = {}): Promise<App> {
    const url = `ws://127.0.0.1:${port}/stream`;
    const ws = protocol ? new WebSocket(url, protocol, options) : new WebSocket(url, options);
    const app = new App(ws);
    await once(ws, 'open');
    return app;
  }
  static binary = (port: number) => App.connect(port, SUBPROTOCOL_BINARY);

  send(message: object | string): void {
    this.ws.send(typeof message === 'string' ? message : JSON.stringify(message));
  }

  /** Sends a request and waits for its answer. */
  async ask(message: object): Promise<ServerMessage & { type: 'ack' | 'error' }> {
    const id = `ask-${Math.random()}`;
    this.send({ id, ...message });
    return (await this.until(
      (m) => (m.type === 'ack' || m.type === 'error') && m.id === id,
    )) as ServerMessage & { type: 'ack' | 'error' };
  }

  /** The first message, old or new, that fits. */
  async until(fits: (message: ServerMessage) => boolean): Promise<ServerMessage> {
    let found: ServerMessage | undefined;
    await this.reached(() => {
      found = this.messages.find(fits);
      return found !== undefined;
    });
    return found!;
  }

  /** Resolves once the condition holds; looked at on every message. */
  async reached(condition: () => boolean): Promise<void> {
    while (!condition()) {
      if (this.closed) throw new Error(`closed: ${this.closed.code} ${this.closed.reason}`);
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
  }

  async end(): Promise<{ code: number; reason: string }> {
    while (!this.closed) {
      await new Promise<void>((resolve) => {
        this.#wake = resolve;
      });
    }
    return this.closed;
  }

  of<T extends ServerMessage['type']>(type: T): Extract<ServerMessage, { type: T }>[] {
    return this.messages.filter((m): m is Extract<ServerMessage, { type: T }> => m.type === type);
  }
}
