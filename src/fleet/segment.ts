import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import { HAND_CODE } from '../protocol/link-table.js';
import type { HandChannel } from '../recording/format.js';
import { NTP_STATES, type NtpState } from './ntp.js';

/**
 * A piece of a recording under way, little-endian: some 250 ms of one hand. Segments are numbered, so a gap is one that was
 * lost, and one that comes twice is known. What a segment holds is what the recorder writes into a session.
 *
 *   offset  size  field
 *   0       u8    kind: 2
 *   1       u8    version: 1
 *   2       u8    hand: 0 left, 1 right
 *   3       u8    whether the station's clock follows others: 0 not known, 1 no, 2 yes
 *   4       u32   number of the segment of this hand in this run, from 0
 *   8       u8×8  run: drawn at the start of the service
 *   16      u8×8  digest of the profile (session-start.ts)
 *   24      f64   when it was sent: µs of the service's clock
 *   32      f64   least round trip to the broker lately, µs; 0: not known
 *   40      …     records: u8 channel, u32 length, f64 time in µs of the service's clock, then so many bytes
 */
export const SEGMENT_KIND = 2;
const SEGMENT_VERSION = 1;
export const SEGMENT_HEADER = 40;
const RECORD_HEADER = 13;
export const ID_BYTES = 8;
const NTP_OFFSET = 3;
const SENT_OFFSET = 24;
const ROUND_TRIP_OFFSET = 32;
/** Times of a service are µs since it started: three hundred years. */
const MAX_TIME_US = 1e16;

/** Channels of a session that travel, by their number on the wire. */
export const SEGMENT_CHANNELS = [
  'received',
  'sent',
  'glove',
  'fits',
  'status',
  'drift',
  'request',
  'resistance',
  'health',
] as const satisfies readonly HandChannel[];
export type SegmentChannel = (typeof SEGMENT_CHANNELS)[number];

export interface SegmentHead {
  hand: HandSide;
  seq: number;
  /** 16 hexadecimal digits. */
  run: string;
  /** 16 hexadecimal digits. */
  digest: string;
  ntp: NtpState;
  sentUs: number;
  /** 0: not known. */
  roundTripUs: number;
}

/** Collects the records of one hand and gives a segment when asked. */
export interface SegmentBuilder {
  /** Of the segment that is open. */
  readonly bytes: number;
  add(channel: SegmentChannel, timeUs: number, bytes: Uint8Array): void;
  /** Ends the segment and begins the next; undefined if nothing is in it. */
  take(): Uint8Array<ArrayBuffer> | undefined;
}

/** @param digest of the profile now */
export function createSegmentBuilder(hand: HandSide, run: string, digest: () => string): SegmentBuilder {
  let buffer = new Uint8Array(16 * 1024);
  let view = new DataView(buffer.buffer);
  let end = SEGMENT_HEADER;
  let seq = 0;
  return {
    get bytes() {
      return end - SEGMENT_HEADER;
    },
    add(channel, timeUs, bytes) {
      const size = end + RECORD_HEADER + bytes.length;
      if (size > buffer.length) {
        const larger = new Uint8Array(2 * size);
        larger.set(buffer.subarray(0, end));
        buffer = larger;
        view = new DataView(buffer.buffer);
      }
      view.setUint8(end, SEGMENT_CHANNELS.indexOf(channel));
      view.setUint32(end + 1, bytes.length, true);
      view.setFloat64(end + 5, timeUs, true);
      buffer.set(bytes, end + RECORD_HEADER);
      end = size;
    },
    take() {
      if (end === SEGMENT_HEADER) return undefined;
      const segment = buffer.slice(0, end);
      const head = new DataView(segment.buffer);
      segment.fill(0, 0, SEGMENT_HEADER);
      head.setUint8(0, SEGMENT_KIND);
      head.setUint8(1, SEGMENT_VERSION);
      head.setUint8(2, HAND_CODE[hand]);
      head.setUint32(4, seq, true);
      segment.set(Buffer.from(run, 'hex'), 8);
      segment.set(Buffer.from(digest(), 'hex'), 8 + ID_BYTES);
      seq = (seq + 1) >>> 0;
      end = SEGMENT_HEADER;
      return segment;
    },
  };
}

/** Writes into a segment what is known only when it leaves. */
export function stampSegment(segment: Uint8Array, sentUs: number, roundTripUs: number, ntp: NtpState): void {
  const view = new DataView(segment.buffer, segment.byteOffset, segment.byteLength);
  view.setUint8(NTP_OFFSET, NTP_STATES.indexOf(ntp));
  view.setFloat64(SENT_OFFSET, sentUs, true);
  view.setFloat64(ROUND_TRIP_OFFSET, roundTripUs, true);
}

/**
 * Reads a segment of whatever origin.
 * @param take gets each record; `bytes` are a part of the segment
 * @returns its head, or why it is none; then nothing was taken
 */
export function readSegment(
  segment: Uint8Array,
  take: (channel: SegmentChannel, timeUs: number, bytes: Uint8Array) => void,
): SegmentHead | string {
  const head = readSegmentHead(segment);
  if (typeof head === 'string') return head;
  const view = new DataView(segment.buffer, segment.byteOffset, segment.byteLength);
  // All of it is looked at before any of it is taken.
  for (const taking of [false, true]) {
    for (let at = SEGMENT_HEADER; at < segment.length; ) {
      if (at + RECORD_HEADER > segment.length) return 'it ends within a record';
      const channel = SEGMENT_CHANNELS[view.getUint8(at)];
      const length = view.getUint32(at + 1, true);
      const timeUs = view.getFloat64(at + 5, true);
      const from = at + RECORD_HEADER;
      if (channel === undefined) return 'a record is of no known channel';
      if (!isTime(timeUs)) return 'a time is no time';
      if (from + length > segment.length) return 'a record is longer than the segment';
      if (taking) take(channel, timeUs, segment.subarray(from, from + length));
      at = from + length;
    }
  }
  return head;
}

/** @returns the head, or why it is none */
export function readSegmentHead(segment: Uint8Array): SegmentHead | string {
  if (segment.length < SEGMENT_HEADER) return 'it is too short';
  const view = new DataView(segment.buffer, segment.byteOffset, segment.byteLength);
  if (view.getUint8(0) !== SEGMENT_KIND || view.getUint8(1) !== SEGMENT_VERSION) return 'it is no segment';
  const hand = HAND_SIDES.find((side) => HAND_CODE[side] === view.getUint8(2));
  const ntp = NTP_STATES[view.getUint8(NTP_OFFSET)];
  const sentUs = view.getFloat64(SENT_OFFSET, true);
  const roundTripUs = view.getFloat64(ROUND_TRIP_OFFSET, true);
  if (hand === undefined || ntp === undefined) return 'its head is damaged';
  if (!isTime(sentUs) || !isTime(roundTripUs)) return 'a time is no time';
  const hex = (from: number): string => Buffer.from(segment.subarray(from, from + ID_BYTES)).toString('hex');
  return {
    hand,
    seq: view.getUint32(4, true),
    run: hex(8),
    digest: hex(8 + ID_BYTES),
    ntp,
    sentUs,
    roundTripUs,
  };
}

const isTime = (us: number): boolean => us >= 0 && us <= MAX_TIME_US;
