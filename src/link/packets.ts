import { MAX_PAYLOAD, MESSAGE } from '../protocol/link-table.js';
import { cobsBound, cobsDecode, cobsEncode } from './cobs.js';
import type { LinkCounters } from './codec.js';
import { crc16 } from './crc16.js';

/**
 * Packets on a byte stream, the same in both directions:
 *
 *   payload = type u8, seq u8, body, crc16 u16      stream = COBS(payload), 0, COBS(payload), 0, ...
 *
 * `seq` wraps at 256. Samples have a sequence of their own, all other messages of a side share a second one.
 */

export const BODY_START = 2;
const CRC_LENGTH = 2;
const MIN_PAYLOAD = BODY_START + CRC_LENGTH;
export const MAX_BODY = MAX_PAYLOAD - MIN_PAYLOAD;
/** Longest frame without its ending 0. */
const MAX_ENCODED = cobsBound(MAX_PAYLOAD);
/** Longest frame on the wire, with its 0. */
export const MAX_FRAME = MAX_ENCODED + 1;

export const newCounters = (): LinkCounters => ({
  bytes: 0,
  frames: 0,
  badCrc: 0,
  malformed: 0,
  oversize: 0,
  unknownType: 0,
  lost: 0,
});

/** What became of a packet whose CRC is right; names the counter that it adds to. */
export type Outcome = 'frames' | 'malformed' | 'unknownType';

/**
 * Takes one packet whose CRC is right.
 * @param payload valid only during the call; the body is payload[BODY_START, bodyEnd)
 */
export type PacketHandler = (payload: Uint8Array, bodyEnd: number) => Outcome;

export interface PacketDecoder {
  push(chunk: Uint8Array): void;
  /** Forgets a partial frame. */
  reset(): void;
}

/**
 * Cuts a byte stream into packets, checks them and counts. Memory is fixed: one frame. Whatever comes, the
 * next 0 is a fresh start, so damage costs the frames that it touches and no others.
 */
export function createPacketDecoder(handle: PacketHandler, counters: LinkCounters): PacketDecoder {
  const payload = new Uint8Array(MAX_PAYLOAD);
  const partial = new Uint8Array(MAX_ENCODED);
  let partialLength = 0;
  let skipping = false;

  /** One encoded frame without its 0, of at most MAX_ENCODED bytes. */
  const take = (bytes: Uint8Array, start: number, end: number): void => {
    const length = cobsDecode(bytes, start, end, payload);
    if (length < MIN_PAYLOAD) {
      counters.malformed++;
      return;
    }
    const bodyEnd = length - CRC_LENGTH;
    if (crc16(payload, 0, bodyEnd) !== (payload[bodyEnd] | (payload[bodyEnd + 1] << 8))) {
      counters.badCrc++;
      return;
    }
    const outcome = handle(payload, bodyEnd);
    if (outcome === 'frames') counters.frames++;
    else counters[outcome]++;
  };

  /** Keeps chunk[start, end), which holds no 0, until the rest comes. */
  const keep = (chunk: Uint8Array, start: number, end: number): void => {
    if (skipping) return;
    if (partialLength + (end - start) > MAX_ENCODED) {
      counters.oversize++;
      skipping = true;
      partialLength = 0;
      return;
    }
    for (let i = start; i < end; i++) partial[partialLength++] = chunk[i];
  };

  return {
    push(chunk) {
      const length = chunk.length;
      counters.bytes += length;
      let start = 0;
      for (let i = 0; i < length; i++) {
        if (chunk[i] !== 0) continue;
        const from = start;
        start = i + 1;
        if (skipping || partialLength > 0) {
          keep(chunk, from, i);
          const kept = partialLength;
          const skipped = skipping;
          partialLength = 0;
          skipping = false;
          if (!skipped) take(partial, 0, kept);
        } else if (i - from > MAX_ENCODED) {
          counters.oversize++;
        } else if (i > from) {
          // Nothing between two zeros is not a frame: senders may put a 0 first to end line noise.
          take(chunk, from, i);
        }
      }
      if (start < length) keep(chunk, start, length);
    },
    reset() {
      partialLength = 0;
      skipping = false;
    },
  };
}

/** Writes one packet after another into the same buffer, little-endian. */
export interface PacketEncoder {
  begin(type: number): void;
  u8(value: number): void;
  u16(value: number): void;
  u32(value: number): void;
  /** UTF-8, cut at a whole character when it does not fit. */
  text(value: string): void;
  /** The frame with its ending 0: a view of an internal buffer, valid until the next `end`. */
  end(): Uint8Array;
}

export function createPacketEncoder(): PacketEncoder {
  const payload = new Uint8Array(MAX_PAYLOAD);
  const frame = new Uint8Array(MAX_FRAME);
  /** One view per frame length, made when first needed, so that a steady stream allocates nothing. */
  const views: Uint8Array[] = [];
  const utf8 = new TextEncoder();
  let samplesSeq = 0;
  let otherSeq = 0;
  let at = 0;
  const u8 = (value: number) => {
    payload[at++] = value;
  };
  const u16 = (value: number) => {
    payload[at++] = value;
    payload[at++] = value >>> 8;
  };
  return {
    begin(type) {
      at = 0;
      u8(type);
      u8(type === MESSAGE.samples ? samplesSeq++ : otherSeq++);
    },
    u8,
    u16,
    u32(value) {
      u16(value & 0xffff);
      u16(value >>> 16);
    },
    text(value) {
      at += utf8.encodeInto(value, payload.subarray(at, MAX_PAYLOAD - CRC_LENGTH)).written;
    },
    end() {
      u16(crc16(payload, 0, at));
      const length = cobsEncode(payload, 0, at, frame);
      frame[length] = 0;
      views[length + 1] ??= frame.subarray(0, length + 1);
      return views[length + 1];
    },
  };
}
