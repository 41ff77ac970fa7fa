import type { Static } from '@sinclair/typebox';
import type { HandSide } from '../hand/joints.js';
import { createMcapWriter } from '../mcap/writer.js';
import {
  HAND_CHANNELS,
  type HandChannel,
  LINK_HEADER_BYTES,
  MCAP_PROFILE,
  SESSION_CHANNELS,
  type SessionChannel,
  type SessionSchema,
  topicOf,
} from './format.js';

export type SessionHead = Static<typeof SessionSchema>;

/** Takes what a recorder sees of the gloves. */
export interface HandRecords {
  /** Received or sent bytes; copied. */
  link(hand: HandSide, channel: 'received' | 'sent', timeUs: number, bytes: Uint8Array): void;
  joints(hand: HandSide, timeUs: number, record: Uint8Array): void;
  json(hand: HandSide, channel: HandChannel, timeUs: number, body: object): void;
}

/** One session file: takes records, produces bytes. It produces nothing between two flushes. */
export interface SessionWriter extends HandRecords {
  /** Bytes of the file so far, including those that wait for a flush. */
  readonly bytes: number;
  /** A body that is JSON text already; copied. */
  jsonText(hand: HandSide, channel: HandChannel, timeUs: number, text: Uint8Array): void;
  /** @param hand undefined for a channel of the whole session */
  json(hand: HandSide, channel: HandChannel, timeUs: number, body: object): void;
  json(hand: undefined, channel: SessionChannel, timeUs: number, body: object): void;
  flush(): void;
  end(): void;
}

export function createSessionWriter(write: (bytes: Uint8Array) => void, head: SessionHead): SessionWriter {
  const epochNs = BigInt(head.epochNs);
  const mcap = createMcapWriter(write, { profile: MCAP_PROFILE, library: `tautline ${head.program}` });
  const schemaIds = new Map<string, number>();
  const channelIds = new Map<string, number>();
  const utf8 = new TextEncoder();
  let scratch = new Uint8Array(1024);
  let scratchView = new DataView(scratch.buffer);

  function channelId(hand: HandSide | undefined, channel: SessionChannel | HandChannel): number {
    const topic = hand === undefined ? channel : topicOf(hand, channel as HandChannel);
    const known = channelIds.get(topic);
    if (known !== undefined) return known;
    const kind =
      hand === undefined
        ? SESSION_CHANNELS[channel as SessionChannel]
        : HAND_CHANNELS[channel as HandChannel];
    let schemaId = schemaIds.get(kind.schema);
    if (schemaId === undefined) {
      schemaId = mcap.addSchema(kind.schema, kind.schemaEncoding, utf8.encode(kind.schemaText));
      schemaIds.set(kind.schema, schemaId);
    }
    const id = mcap.addChannel(schemaId, topic, kind.messageEncoding);
    channelIds.set(topic, id);
    return id;
  }

  const logTime = (timeUs: number): bigint => epochNs + BigInt(Math.round(timeUs * 1000));

  function json(
    hand: HandSide | undefined,
    channel: SessionChannel | HandChannel,
    timeUs: number,
    body: object,
  ) {
    mcap.addMessage(channelId(hand, channel), logTime(timeUs), utf8.encode(JSON.stringify(body)));
  }
  json(undefined, 'session', head.timeUs, head);
  mcap.flush();

  return {
    get bytes() {
      return mcap.bytes + mcap.openBytes;
    },
    link(hand, channel, timeUs, bytes) {
      const size = LINK_HEADER_BYTES + bytes.length;
      if (scratch.length < size) {
        scratch = new Uint8Array(2 * size);
        scratchView = new DataView(scratch.buffer);
      }
      scratchView.setFloat64(0, timeUs, true);
      scratch.set(bytes, LINK_HEADER_BYTES);
      mcap.addMessage(channelId(hand, channel), logTime(timeUs), scratch.subarray(0, size));
    },
    jsonText: (hand, channel, timeUs, text) =>
      mcap.addMessage(channelId(hand, channel), logTime(timeUs), text),
    joints: (hand, timeUs, record) => mcap.addMessage(channelId(hand, 'joints'), logTime(timeUs), record),
    json,
    flush: mcap.flush,
    end: mcap.end,
  };
}
