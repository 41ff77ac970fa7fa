import type { MqttClient } from 'mqtt';
import type { HandSide } from '../hand/joints.js';
import { type BrokerEvents, type BrokerOptions, keepConnected } from './broker.js';
import { createLeastLately } from './least-lately.js';
import type { NtpState } from './ntp.js';
import { createOutgoingQueue, type Outgoing, type QueueLimits } from './outgoing-queue.js';
import type { PublisherCounts } from './publisher-messages.js';
import { stampSegment } from './segment.js';
import { FLEET_VERSION, KINDS, type Kind, type Station, topicOf } from './topics.js';

/**
 * Publishes for one station: takes messages, keeps them while the broker is away or slow, as far as there is room.
 * It subscribes to nothing, and has no ears: whatever a broker sends it is dropped.
 */
export interface Sender {
  publish(kind: Kind, hand: HandSide | undefined, bytes: Uint8Array): void;
  counts(): PublisherCounts;
  /** Sends the last status and what else the broker takes within a moment, then leaves. */
  end(status: Uint8Array): Promise<void>;
}

export interface SenderOptions extends Pick<BrokerEvents, 'closed'> {
  station: Station;
  broker: Omit<BrokerOptions, 'maxPacketBytes'>;
  limits: QueueLimits;
  /** Of the service, µs. */
  nowUs: () => number;
  ntp: () => NtpState;
  opened?(): void;
}

/** A broker answers a station with acknowledgements and nothing else. */
const MAX_PACKET_BYTES = 64 * 1024;
/** Sent and not yet confirmed. A round trip of 100 ms then permits 640 messages a second. */
const MAX_UNDER_WAY = 64;
/** Bytes that the socket has not passed on: two hands of poses for a quarter of a second. */
const MAX_IN_SOCKET = 64 * 1024;
/** Topic and properties of a message. */
const ENVELOPE_BYTES = 512;
const LAST_WORDS_MS = 400;

export function createSender(options: SenderOptions): Sender {
  const { station, nowUs, ntp } = options;
  const queue = createOutgoingQueue(options.limits);
  const roundTrip = createLeastLately();
  const topics = new Map<string, Route>();
  let underWay: Outgoing[] = [];
  let window = MAX_UNDER_WAY;
  let maxBytes = Number.POSITIVE_INFINITY;
  let freeAliases: number[] = [];
  let refused = 0;
  let sent = 0;
  let sentBytes = 0;
  const broker = keepConnected(
    { ...options.broker, maxPacketBytes: MAX_PACKET_BYTES },
    {
      open(client, connack) {
        const { receiveMaximum, maximumPacketSize, topicAliasMaximum = 0 } = connack.properties ?? {};
        window = Math.min(MAX_UNDER_WAY, receiveMaximum ?? MAX_UNDER_WAY);
        maxBytes = (maximumPacketSize ?? Number.POSITIVE_INFINITY) - ENVELOPE_BYTES;
        // Every connection begins without numbers for topics, and the broker says how many it takes.
        freeAliases = Array.from({ length: topicAliasMaximum }, (_, i) => i + 1);
        for (const to of topics.values()) to.alias = 0;
        queue.renew();
        client.stream.on('drain', pump);
        options.opened?.();
        pump();
      },
      closed(why) {
        // What was not confirmed is sent again, in its order: it may arrive twice.
        queue.back(underWay);
        underWay = [];
        options.closed(why);
      },
    },
  );

  function route(kind: Kind, hand: HandSide | undefined): Route {
    const topic = topicOf(station, kind, hand);
    let known = topics.get(topic);
    if (!known) {
      known = { topic, properties: propertiesOf(kind), alias: 0 };
      topics.set(topic, known);
    }
    return known;
  }

  function pump(): void {
    const { client } = broker;
    if (!client) return;
    while (client.stream.writableLength < MAX_IN_SOCKET) {
      // A broker that is slow to confirm holds up what it has to confirm, not the poses.
      const message = queue.next(performance.now(), underWay.length >= window);
      if (!message) return;
      send(client, message);
    }
  }

  function send(client: MqttClient, message: Outgoing): void {
    const { kind, hand, bytes } = message;
    if (bytes.length > maxBytes) {
      // The broker would end the connection, and again the next one.
      queue.done(message);
      refused++;
      return;
    }
    const { qos, retain } = KINDS[kind];
    const to = route(kind, hand);
    if (kind === 'raw') stampSegment(bytes, nowUs(), roundTrip.read(performance.now()) ?? 0, ntp());
    const known = to.alias > 0;
    // What comes often gets a number, which the broker learns with the first message.
    if (!known && !retain) to.alias = freeAliases.shift() ?? 0;
    const properties = to.alias > 0 ? { ...to.properties, topicAlias: to.alias } : to.properties;
    const topic = known ? '' : to.topic;
    const payload = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const beganMs = performance.now();
    if (qos === 0) {
      client.publish(topic, payload, { qos, retain, properties });
      finished();
      return;
    }
    underWay.push(message);
    client.publish(topic, payload, { qos, retain, properties }, (error) => {
      const at = underWay.indexOf(message);
      // The connection broke, or breaks: it waits for the next one. Only the broker's own refusal has a code.
      const isRefused = typeof (error as { code?: unknown } | undefined)?.code === 'number';
      if (at < 0 || broker.client !== client || (error && !isRefused)) return;
      underWay.splice(at, 1);
      const nowMs = performance.now();
      roundTrip.add((nowMs - beganMs) * 1000, nowMs);
      // Refused by the broker, for the topic or for its size: it would be again.
      if (error) {
        queue.done(message);
        refused++;
      } else finished();
      pump();
    });

    function finished(): void {
      queue.done(message);
      sent++;
      sentBytes += bytes.length;
    }
  }

  return {
    publish(kind, hand, bytes) {
      queue.put({ kind, hand, bytes, atMs: performance.now() });
      pump();
    },
    counts: () => ({
      connected: broker.client !== undefined,
      sent,
      sentBytes,
      refused,
      dropped: { ...queue.dropped },
      waitingBytes: queue.bytes,
      roundTripUs: roundTrip.read(performance.now()) ?? 0,
      ntp: ntp(),
    }),
    async end(status) {
      queue.put({ kind: 'status', hand: undefined, bytes: status, atMs: performance.now() });
      pump();
      const untilMs = performance.now() + LAST_WORDS_MS;
      while (broker.client && (underWay.length > 0 || queue.bytes > 0) && performance.now() < untilMs) {
        await new Promise((resolve) => setTimeout(resolve, 5));
      }
      await broker.close();
    },
  };
}

/** Where a kind of message goes, and how it is named. */
interface Route {
  topic: string;
  properties: NonNullable<Parameters<MqttClient['publish']>[2]>['properties'];
  /** A number that stands for the topic on this connection; 0: none. */
  alias: number;
}

function propertiesOf(kind: Kind): Route['properties'] {
  const { contentType, encoding, expiryS, qos } = KINDS[kind];
  return {
    contentType,
    ...(expiryS === undefined ? {} : { messageExpiryInterval: expiryS }),
    ...(qos === 0 ? {} : { payloadFormatIndicator: contentType === 'application/json' }),
    userProperties: { schema: String(FLEET_VERSION), encoding },
  };
}
