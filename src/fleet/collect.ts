import { statfs } from 'node:fs/promises';
import type { MqttClient } from 'mqtt';
import { TautlineError } from '../errors.js';
import { type BrokerAddress, keepConnected } from './broker.js';
import { brokerError } from './broker-error.js';
import { type Collector, type CollectorOptions, createCollector } from './collector.js';
import { createLeastLately } from './least-lately.js';
import { echoTopic, everyStation, parseTopic, type Station, shared, topicOf } from './topics.js';

/** One of the collectors at a broker: takes its share of what the stations publish, and writes it. */

export interface CollectOptions
  extends Pick<CollectorOptions, 'maxBytes' | 'maxSeconds' | 'limits' | 'began'> {
  broker: BrokerAddress;
  folder: string;
  /** Its own among all collectors. */
  name: string;
  /** Those of a group share the stations. */
  group: string;
  /** One site alone; undefined: all. */
  site?: string;
  /** Bytes of the disk that are left free. */
  keepFree: number;
  /** How long the broker keeps our share while we are away, s. */
  keepsForS?: number;
  /** Said once for each change. */
  changed(state: CollectState): void;
  firstRetryMs?: number;
  maxRetryMs?: number;
}

export type CollectState = { state: 'collecting' } | { state: 'waiting'; why: TautlineError };

export interface Collecting {
  readonly counts: Collector['counts'];
  close(): Promise<void>;
}

/** A segment is 100 kB at most, the start of a session 512 kB. */
const MAX_PACKET_BYTES = 1024 * 1024;
const TICK_MS = 250;
const ECHO_MS = 1000;
const LEAVE_WITHIN_MS = 1000;
/** A full disk is looked at again so often. */
const DISK_MS = 5000;

export function startCollecting(options: CollectOptions): Collecting {
  const { name, group, site, folder, keepFree } = options;
  const echo = createLeastLately();
  const echoTo = echoTopic(name);
  let echoSentMs = Number.NaN;
  let collector = begin();
  let full: TautlineError | undefined;
  let broker: ReturnType<typeof keepConnected> | undefined;
  let said = '';
  let closed = false;
  const asked = new Set<string>();

  function say(state: CollectState): void {
    const text = state.state === 'collecting' ? '' : state.why.line;
    if (said === text && state.state === 'waiting') return;
    said = text;
    options.changed(state);
  }

  function begin(): Collector {
    return createCollector({
      folder,
      name,
      ...(options.maxBytes === undefined ? {} : { maxBytes: options.maxBytes }),
      ...(options.maxSeconds === undefined ? {} : { maxSeconds: options.maxSeconds }),
      ...(options.limits ? { limits: options.limits } : {}),
      ...(options.began ? { began: options.began } : {}),
      echoUs: () => echo.read(performance.now()),
      ask,
      failed: leave,
    });
  }

  function ask(station: Station): void {
    const topic = topicOf(station, 'session');
    const client = broker?.client;
    if (!client) return;
    // What is retained comes with every subscription, and once is enough.
    asked.add(topic);
    client.subscribe(topic, { qos: 1, rh: 0 }, (error) => {
      if (error && client.connected) say({ state: 'waiting', why: refusedTo(topic, error) });
    });
  }

  function refusedTo(topic: string, error: unknown): TautlineError {
    const { line } = brokerError(options.broker.url, error);
    return new TautlineError('notPermitted', `${line} (${topic})`);
  }

  async function message(topic: string, payload: Buffer): Promise<void> {
    if (topic === echoTo) {
      if (payload.length === 8 && payload.readDoubleLE() === echoSentMs) {
        const nowMs = performance.now();
        echo.add((nowMs - echoSentMs) * 1000, nowMs);
      }
      return;
    }
    const from = parseTopic(topic);
    if (from?.kind === 'raw') await collector.segment(from, payload);
    else if (from?.kind === 'session') {
      if (asked.delete(topic)) broker?.client?.unsubscribe(topic);
      await collector.start(from, payload);
    }
  }

  function subscribe(client: MqttClient): void {
    asked.clear();
    client.subscribe(shared(group, everyStation('raw', site)), { qos: 1 }, (error, granted) => {
      const refused = error ?? (granted?.some(({ qos }) => qos > 2) ? { code: 135 } : undefined);
      if (refused && client.connected) say({ state: 'waiting', why: refusedTo('raw', refused) });
      else if (!refused) say({ state: 'collecting' });
    });
    client.subscribe(echoTo, { qos: 0 }, () => {});
  }

  function connect(): void {
    broker = keepConnected(
      {
        ...options.broker,
        clientId: `tautline-collector-${name}`,
        maxPacketBytes: MAX_PACKET_BYTES,
        ...(options.keepsForS === undefined ? {} : { keepsForS: options.keepsForS }),
        ...(options.firstRetryMs === undefined ? {} : { firstRetryMs: options.firstRetryMs }),
        ...(options.maxRetryMs === undefined ? {} : { maxRetryMs: options.maxRetryMs }),
      },
      { open: subscribe, closed: (why) => say({ state: 'waiting', why }), message },
    );
  }

  /** The disk is full, or broken: the others of the group get our share until there is room. */
  function leave(error: TautlineError): void {
    if (closed || full) return;
    full = error;
    say({ state: 'waiting', why: error });
    const leaving = broker;
    broker = undefined;
    // What was not answered is given to others; what comes from here on is not ours.
    leaving?.client?.stream.destroy();
    void leaving?.close();
    void collector.close().catch(() => {});
  }

  async function lookAtDisk(): Promise<void> {
    const disk = await statfs(folder).catch(() => undefined);
    if (!disk || disk.blocks === 0 || closed) return;
    const free = disk.bavail * disk.bsize;
    if (!full && free < keepFree) {
      leave(
        new TautlineError(
          'diskFull',
          `${folder}: ${Math.floor(free / 1e6)} MB are free, and ${Math.ceil(keepFree / 1e6)} MB are to be left so.`,
          'Make room; collecting goes on by itself.',
        ),
      );
    } else if (full && free > keepFree * 1.05 + 1e6) {
      full = undefined;
      collector = begin();
      connect();
    }
  }

  const timers = [
    setInterval(() => void collector.tick(), TICK_MS),
    setInterval(() => {
      const client = broker?.client;
      if (!client) return;
      echoSentMs = performance.now();
      const payload = Buffer.alloc(8);
      payload.writeDoubleLE(echoSentMs);
      client.publish(echoTo, payload, { qos: 0, properties: { messageExpiryInterval: 1 } });
    }, ECHO_MS),
    setInterval(() => void lookAtDisk(), DISK_MS),
  ];
  void lookAtDisk().then(() => {
    if (!full && !closed) connect();
  });

  return {
    get counts() {
      return collector.counts;
    },
    async close() {
      closed = true;
      for (const timer of timers) clearInterval(timer);
      // First out of the group: what was given to us until then is still written.
      const leaving = broker?.client?.unsubscribeAsync(shared(group, everyStation('raw', site)));
      const late = new Promise((resolve) => setTimeout(resolve, LEAVE_WITHIN_MS).unref());
      await Promise.race([leaving?.catch(() => {}), late]);
      await broker?.close();
      await collector.close();
    },
  };
}
