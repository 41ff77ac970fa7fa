import fc from 'fast-check';
import mqttPacket from 'mqtt-packet';
import { describe, expect, it } from 'vitest';
import { createPacketGuard } from '../../src/fleet/packet-guard.js';
import {
  createSegmentBuilder,
  readSegment,
  SEGMENT_CHANNELS,
  SEGMENT_HEADER,
  stampSegment,
} from '../../src/fleet/segment.js';
import { everyStation, KINDS, type Kind, parseTopic, shared, topicOf } from '../../src/fleet/topics.js';
import { HAND_SIDES } from '../../src/hand/joints.js';

describe('topics', () => {
  it('say what they were made of', () => {
    for (const kind of Object.keys(KINDS) as Kind[]) {
      const hands = kind === 'status' || kind === 'session' ? [undefined] : HAND_SIDES;
      for (const hand of hands) {
        const topic = topicOf({ site: 'lab', station: 'bench-01' }, kind, hand);
        expect(parseTopic(topic)).toEqual({ site: 'lab', station: 'bench-01', kind, hand });
        expect(matches(everyStation(kind), topic)).toBe(true);
        expect(matches(everyStation(kind, 'lab'), topic)).toBe(true);
        expect(matches(everyStation(kind, 'other'), topic)).toBe(false);
      }
    }
    expect(shared('recorders', everyStation('raw'))).toBe('$share/recorders/tautline/1/+/+/+/raw');
  });

  it('of others are none', () => {
    for (const topic of [
      '',
      'tautline',
      'tautline/1',
      'tautline/2/a/b/status',
      'tautline/1/a/b',
      'tautline/1/a/b/c/status',
      'tautline/1/a/b/right/status',
      'tautline/1/a/b/raw',
      'tautline/1/a/b/middle/raw',
      'tautline/1/../b/status',
      'tautline/1/a/../status',
      'tautline/1/collectors/c/status',
      'tautline/1/a/b/constructor',
      `tautline/1/${'a'.repeat(41)}/b/status`,
    ])
      expect([topic, parseTopic(topic)]).toEqual([topic, undefined]);
    fc.assert(fc.property(fc.string(), (text) => parseTopic(text) === undefined));
  });
});

/** MQTT 5, section 4.7.1: `+` is any one level, `#` all that follow. */
function matches(filter: string, topic: string): boolean {
  const levels = topic.split('/');
  const wanted = filter.split('/');
  return wanted.length === levels.length && wanted.every((level, i) => level === '+' || level === levels[i]);
}

describe('a segment', () => {
  const records = fc.array(
    fc.record({
      channel: fc.constantFrom(...SEGMENT_CHANNELS),
      timeUs: fc.double({ min: 0, max: 1e15, noNaN: true }),
      bytes: fc.uint8Array({ maxLength: 300 }),
    }),
    { minLength: 1, maxLength: 40 },
  );

  it('gives back what was put in, bit by bit', () => {
    fc.assert(
      fc.property(records, fc.constantFrom(...HAND_SIDES), fc.nat(1e9), (list, hand, sentUs) => {
        const builder = createSegmentBuilder(hand, '0123456789abcdef', () => 'fedcba9876543210');
        for (let seq = 0; seq < 2; seq++) {
          for (const { channel, timeUs, bytes } of list) builder.add(channel, timeUs, bytes);
          const segment = builder.take()!;
          stampSegment(segment, sentUs, 7, 'synchronised');
          const got: typeof list = [];
          const head = readSegment(segment, (channel, timeUs, bytes) =>
            got.push({ channel, timeUs, bytes: bytes.slice() }),
          );
          expect(head).toEqual({
            hand,
            seq,
            run: '0123456789abcdef',
            digest: 'fedcba9876543210',
            ntp: 'synchronised',
            sentUs,
            roundTripUs: 7,
          });
          expect(got).toEqual(list);
        }
        expect(builder.take()).toBeUndefined();
      }),
    );
  });

  it('that is damaged or cut is read whole or not at all', () => {
    fc.assert(
      fc.property(records, fc.nat(), fc.nat(255), fc.boolean(), (list, place, value, cut) => {
        const builder = createSegmentBuilder('left', '0123456789abcdef', () => 'fedcba9876543210');
        for (const { channel, timeUs, bytes } of list) builder.add(channel, timeUs, bytes);
        const segment = builder.take()!;
        const at = place % segment.length;
        const damaged = cut ? segment.subarray(0, at) : segment;
        if (!cut) damaged[at] = value;
        let taken = 0;
        const head = readSegment(damaged, (_, timeUs, bytes) => {
          taken += 13 + bytes.length;
          expect(timeUs).toBeGreaterThanOrEqual(0);
        });
        expect(taken).toBe(typeof head === 'string' ? 0 : damaged.length - SEGMENT_HEADER);
      }),
    );
  });
});

describe('the guard of packets', () => {
  /** Real packets, by the library's own writer. */
  const packet = fc
    .record({ size: fc.nat(3000), topic: fc.stringMatching(/^[a-z]{1,30}$/) })
    .map(({ size, topic }) => {
      const payload = Buffer.alloc(size, 0xff);
      return mqttPacket.generate(
        { cmd: 'publish', topic, payload, qos: 0, retain: false, dup: false },
        { protocolVersion: 5 },
      );
    });

  it('lets through what is small enough, however it is cut, and stops at the first that is not', () => {
    fc.assert(
      fc.property(fc.array(packet, { maxLength: 20 }), fc.integer({ min: 1, max: 700 }), (packets, cut) => {
        let stopped = 0;
        // The longest that the remaining length may be: a packet less its first byte and the length itself.
        const guard = createPacketGuard(2000, () => stopped++);
        const all = Buffer.concat(packets);
        for (let at = 0; at < all.length; at += cut) guard(all.subarray(at, at + cut));
        const isTooLarge = packets.some((each) => remaining(each) > 2000);
        expect(stopped).toBe(isTooLarge ? 1 : 0);
      }),
    );
  });

  it('stops at a length of more than four bytes', () => {
    let stopped = 0;
    createPacketGuard(2 ** 40, () => stopped++)(Buffer.from([0x30, 0xff, 0xff, 0xff, 0xff, 0x01]));
    expect(stopped).toBe(1);
  });
});

/** MQTT 5, section 1.5.5: a variable byte integer. */
function remaining(packet: Buffer): number {
  let value = 0;
  for (let at = 1, factor = 1; ; at++, factor *= 128) {
    value += (packet[at] & 127) * factor;
    if ((packet[at] & 128) === 0) return value;
  }
}
