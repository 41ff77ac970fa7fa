import { readFile } from 'node:fs/promises';
import { connect as connectPlain, isIP, type Socket } from 'node:net';
import { connect as connectTls } from 'node:tls';
import type { IClientOptions, IConnackPacket, IPublishPacket, MqttClient } from 'mqtt';
import { readSecretFile } from '../config/secret-file.js';
import { TautlineError } from '../errors.js';
import { BROKEN_OFF, brokerError } from './broker-error.js';
import { createPacketGuard } from './packet-guard.js';

/** The connection to a broker: made again and again, until it is closed. */

export interface BrokerAddress {
  url: string;
  username?: string;
  /** These are read at each connection, so that they can be replaced meanwhile. */
  passwordFile?: string;
  caFile?: string;
  certFile?: string;
  keyFile?: string;
}

export interface BrokerOptions extends BrokerAddress {
  clientId: string;
  /** Published by the broker when this connection breaks. */
  will?: { topic: string; payload: Buffer };
  /** Largest packet that is taken. */
  maxPacketBytes: number;
  /** How long the broker keeps what comes for us while we are away, s; 0: not at all. */
  keepsForS?: number;
  keepaliveS?: number;
  firstRetryMs?: number;
  maxRetryMs?: number;
  /** 0..1, for the jitter of the pauses. */
  random?: () => number;
}

export interface BrokerEvents {
  /** @param resumed the broker still had our session */
  open(client: MqttClient, connack: IConnackPacket, resumed: boolean): void;
  /** It was open, and is not any longer; or it could not be opened. */
  closed(why: TautlineError): void;
  /** The broker is answered when it resolves. Must not reject. */
  message?(topic: string, payload: Buffer, packet: IPublishPacket): Promise<void> | void;
}

export interface Broker {
  /** The connection, while it is open. */
  readonly client: MqttClient | undefined;
  /** Ends the connection properly, if the broker lets us; never rejects. */
  close(): Promise<void>;
}

const CONNECT_WITHIN_MS = 10_000;
const CLOSE_WITHIN_MS = 500;

/** What npm brings only when it is asked to. */
async function loadMqtt(): Promise<typeof import('mqtt')> {
  try {
    return await import('mqtt');
  } catch (error) {
    throw new TautlineError(
      'notSupported',
      'A broker needs the npm package mqtt, which is not installed.',
      'npm install mqtt',
      { cause: error },
    );
  }
}

export function keepConnected(options: BrokerOptions, events: BrokerEvents): Broker {
  const { firstRetryMs = 500, maxRetryMs = 30_000, random = Math.random } = options;
  let closed = false;
  let client: MqttClient | undefined;
  let live: MqttClient | undefined;
  let timer: NodeJS.Timeout | undefined;
  let failures = 0;

  async function attempt(): Promise<void> {
    let made: MqttClient;
    let why: unknown;
    let guarded: Socket | undefined;
    try {
      const mqtt = await loadMqtt();
      const settings = await clientOptions(options);
      if (closed) return;
      made = new mqtt.MqttClient(() => {
        guarded = openSocket(options.url, settings);
        guarded.on('data', createPacketGuard(options.maxPacketBytes, refuse));
        return guarded;
      }, settings.client);
    } catch (error) {
      retry(error);
      return;
    }
    client = made;
    function refuse(): void {
      why ??= new Error(`the broker announced a packet of more than ${options.maxPacketBytes} bytes`);
      guarded?.destroy();
    }
    if (events.message) {
      const take = events.message;
      made.handleMessage = (packet, answered) => {
        const { topic, payload } = packet;
        const taken = take(String(topic), payload as Buffer, packet);
        if (taken) void taken.then(() => answered());
        else answered();
      };
    }
    made.on('error', (error) => {
      why ??= error;
    });
    made.on('disconnect', ({ reasonCode }) => {
      why ??= Object.assign(new Error(`the broker ended it (${reasonCode})`), { code: reasonCode });
    });
    made.once('connect', (connack) => {
      failures = 0;
      live = made;
      events.open(made, connack, connack.sessionPresent);
    });
    made.once('close', () => {
      if (client === made) client = undefined;
      const wasOpen = live === made;
      live = undefined;
      made.end(true);
      const broken = { code: wasOpen ? BROKEN_OFF : 'ECONNRESET' };
      if (!closed) retry(why ?? Object.assign(new Error('it was broken off'), broken));
    });
  }

  function retry(why: unknown): void {
    if (closed) return;
    events.closed(brokerError(options.url, why));
    // A whole site comes back at once after a power cut: not all in the same moment.
    const pauseMs =
      Math.min(maxRetryMs, firstRetryMs * 2 ** Math.min(failures++, 16)) * (0.5 + 0.5 * random());
    timer = setTimeout(() => void attempt(), pauseMs);
  }

  void attempt();
  return {
    get client() {
      return live;
    },
    async close() {
      closed = true;
      clearTimeout(timer);
      const open = client;
      if (!open) return;
      await Promise.race([
        open.endAsync(!live).catch(() => {}),
        new Promise((resolve) => setTimeout(resolve, CLOSE_WITHIN_MS)),
      ]);
      open.stream?.destroy();
    },
  };
}

interface Settings {
  client: IClientOptions;
  tls: { ca?: Buffer; cert?: Buffer; key?: Buffer };
}

async function clientOptions(options: BrokerOptions): Promise<Settings> {
  const { clientId, username, will, keepsForS = 0, keepaliveS = 10 } = options;
  const [password, ca, cert, key] = await Promise.all([
    options.passwordFile === undefined ? undefined : readSecretFile(options.passwordFile),
    pem(options.caFile),
    pem(options.certFile),
    pem(options.keyFile),
  ]);
  return {
    tls: { ...(ca && { ca }), ...(cert && { cert }), ...(key && { key }) },
    client: {
      protocolVersion: 5,
      clientId,
      clean: keepsForS === 0,
      keepalive: keepaliveS,
      // Ours: see retry().
      reconnectPeriod: 0,
      connectTimeout: CONNECT_WITHIN_MS,
      resubscribe: false,
      queueQoSZero: false,
      properties: {
        maximumPacketSize: options.maxPacketBytes,
        ...(keepsForS > 0 ? { sessionExpiryInterval: keepsForS } : {}),
      },
      ...(username === undefined ? {} : { username }),
      ...(password === undefined ? {} : { password }),
      ...(will ? { will: { topic: will.topic, payload: will.payload, qos: 1, retain: true } } : {}),
    },
  };
}

async function pem(path: string | undefined): Promise<Buffer | undefined> {
  if (path === undefined) return undefined;
  try {
    return await readFile(path);
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    throw new TautlineError(
      'fileNotFound',
      `${path}: the file cannot be read (${code ?? message}).`,
      undefined,
      {
        cause: error,
      },
    );
  }
}

function openSocket(url: string, { tls }: Settings): Socket {
  const { protocol, hostname, port } = new URL(url);
  const host = hostname.replace(/^\[|\]$/g, '');
  if (protocol === 'mqtt:') {
    const socket = connectPlain({ host, port: Number(port || 1883) });
    socket.setNoDelay(true);
    return socket;
  }
  const socket = connectTls({
    host,
    port: Number(port || 8883),
    // A number cannot be asked for by name (RFC 6066, section 3).
    servername: isIP(host) ? '' : host,
    minVersion: 'TLSv1.2',
    ...tls,
  });
  socket.setNoDelay(true);
  return socket;
}
