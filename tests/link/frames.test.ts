import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { cobsBound, cobsEncode } from '../../src/link/cobs.js';
import type { DeviceState, Hello } from '../../src/link/codec.js';
import { crc16 } from '../../src/link/crc16.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import {
  ACTUATOR_KIND,
  ACTUATOR_ROLE,
  type ActuatorKind,
  type ActuatorRole,
  CHANNEL_ROLE,
  type ChannelRole,
  FAULT_BIT,
  type FaultName,
  MAX_ACTUATORS,
  MAX_CHANNELS,
  MAX_PAYLOAD,
  MESSAGE,
} from '../../src/protocol/link-table.js';

type Heard = [name: string, ...values: unknown[]];

/** Both ends of a link, each keeping what it hears. */
function twoEnds() {
  const host: Heard[] = [];
  const glove: Heard[] = [];
  const codec = createFrameCodec({
    hello: (hello) => host.push(['hello', hello]),
    samples: (s) =>
      host.push(['samples', s.seq, s.deviceTimeUs, s.buttons, [...s.channels.subarray(0, s.channelCount)]]),
    state: (state) => host.push(['state', state]),
    pong: (pong) => host.push(['pong', pong.token, pong.deviceTimeUs]),
    note: (text) => host.push(['note', text]),
  });
  const frames = createGloveFrames({
    askHello: (protocol) => glove.push(['askHello', protocol]),
    resist: ({ validForMs, count, stops, efforts }) =>
      glove.push(['resist', validForMs, [...stops.subarray(0, count)], [...efforts.subarray(0, count)]]),
    release: () => glove.push(['release']),
    ping: (token) => glove.push(['ping', token]),
    rate: (hz) => glove.push(['rate', hz]),
    pulse: (...values) => glove.push(['pulse', ...values]),
  });
  return { codec, frames, host, glove };
}

const keys = <T extends string>(table: Record<T, number>) => Object.keys(table) as T[];
const u8 = fc.integer({ min: 0, max: 0xff });
const u16 = fc.integer({ min: 0, max: 0xffff });
const u32 = fc.integer({ min: 0, max: 0xffffffff });
const helloArb: fc.Arbitrary<Hello> = fc.record({
  protocol: u8,
  hand: fc.constantFrom('left' as const, 'right' as const),
  deviceId: fc.uint8Array({ minLength: 8, maxLength: 8 }).map((bytes) => Buffer.from(bytes).toString('hex')),
  firmwareVersion: u16,
  sampleRateHz: u16,
  channels: fc.array(
    fc.record({
      role: fc.constantFrom<ChannelRole>(...keys(CHANNEL_ROLE)),
      bits: fc.integer({ min: 1, max: 16 }),
    }),
    { maxLength: MAX_CHANNELS },
  ),
  actuators: fc.array(
    fc.record({
      role: fc.constantFrom<ActuatorRole>(...keys(ACTUATOR_ROLE)),
      kind: fc.constantFrom<ActuatorKind>(...keys(ACTUATOR_KIND)),
    }),
    { maxLength: MAX_ACTUATORS },
  ),
});
const stateArb: fc.Arbitrary<DeviceState> = fc.record(
  {
    batteryMv: u16,
    temperatureC: fc.integer({ min: -0x8000, max: 0x7ffe }).map((tenths) => tenths / 10),
    faults: fc.subarray<FaultName>(keys(FAULT_BIT)),
    framesDropped: u16,
    watchdogTrips: u16,
    positions: fc.array(u16, { maxLength: MAX_ACTUATORS }),
  },
  { requiredKeys: ['batteryMv', 'faults', 'framesDropped', 'watchdogTrips', 'positions'] },
);
const channelsArb = fc.array(u16, { maxLength: MAX_CHANNELS });
const textArb = fc
  .string({ unit: 'grapheme', maxLength: 60 })
  .filter(
    (text) => new TextEncoder().encode(text).length <= MAX_PAYLOAD - 4 && !/\p{Cc}|^\s|\s$/u.test(text),
  );

/** Splits bytes at the given places (taken modulo the length). */
function split(bytes: Uint8Array, places: number[]): Uint8Array[] {
  const cuts = [...new Set(places.map((p) => p % (bytes.length + 1)))].sort((a, b) => a - b);
  return [0, ...cuts].map((from, i) => bytes.slice(from, cuts[i] ?? bytes.length));
}
const places = fc.array(fc.nat(2000), { maxLength: 6 });

describe('glove to host', () => {
  it('carries every message, in order, however the bytes are cut', () => {
    const message = fc.oneof(
      helloArb.map((hello) => ({ heard: ['hello', hello] as Heard, hello })),
      stateArb.map((state) => ({ heard: ['state', state] as Heard, state })),
      fc.tuple(u32, u16, channelsArb).map((samples) => ({ samples })),
      fc.tuple(u32, u32).map((pong) => ({ heard: ['pong', ...pong] as Heard, pong })),
      textArb.map((note) => ({ heard: ['note', note] as Heard, note })),
    );
    fc.assert(
      fc.property(fc.array(message, { maxLength: 12 }), places, (messages, cuts) => {
        const { codec, frames, host } = twoEnds();
        const expected: Heard[] = [];
        const bytes: Uint8Array[] = [];
        let seq = 0;
        for (const m of messages) {
          if ('samples' in m) {
            const [time, buttons, channels] = m.samples;
            expected.push(['samples', seq++, time, buttons, channels]);
            bytes.push(frames.samples(time, buttons, Uint16Array.from(channels), channels.length).slice());
            continue;
          }
          expected.push(m.heard);
          if ('hello' in m) bytes.push(frames.hello(m.hello).slice());
          else if ('state' in m) bytes.push(frames.state(m.state).slice());
          else if ('pong' in m) bytes.push(frames.pong(...m.pong).slice());
          else bytes.push(frames.note(m.note).slice());
        }
        const stream = Uint8Array.from(Buffer.concat(bytes));
        for (const chunk of split(stream, cuts)) codec.push(chunk);
        expect(host).toEqual(expected);
        expect(codec.counters).toEqual({
          bytes: stream.length,
          frames: messages.length,
          badCrc: 0,
          malformed: 0,
          oversize: 0,
          unknownType: 0,
          lost: 0,
        });
      }),
    );
  });

  it('cuts a long note at a whole character', () => {
    const { codec, frames, host } = twoEnds();
    codec.push(frames.note(`${'x'.repeat(245)}é${'y'.repeat(300)}`));
    expect(host).toEqual([['note', 'x'.repeat(245)]]);
  });

  it('hands a note over without control characters', () => {
    const { codec, frames, host } = twoEnds();
    codec.push(frames.note('low\u001b[2J\r\nbattery\n'));
    expect(host).toEqual([['note', 'low [2J battery']]);
  });
});

describe('host to glove', () => {
  it('carries every command, in order, however the bytes are cut', () => {
    const resist = fc
      .array(fc.tuple(u16, u8), { maxLength: MAX_ACTUATORS })
      .chain((each) => u16.map((validForMs) => ['resist', validForMs, each] as const));
    const command = fc.oneof(
      fc.constant(['askHello', 1] as const),
      fc.constant(['release'] as const),
      resist,
      u32.map((token) => ['ping', token] as const),
      u16.map((hz) => ['rate', hz] as const),
      fc.tuple(u8, u8, u16, u16).map((values) => ['pulse', ...values] as const),
    );
    fc.assert(
      fc.property(fc.array(command, { maxLength: 12 }), places, (commands, cuts) => {
        const { codec, frames, glove } = twoEnds();
        const expected: Heard[] = [];
        const bytes = commands.map((c) => {
          if (c[0] === 'resist') {
            const stops = c[2].map(([stop]) => stop);
            const efforts = c[2].map(([, effort]) => effort);
            expected.push(['resist', c[1], stops, efforts]);
            return codec
              .resist(c[1], Uint16Array.from(stops), Uint8Array.from(efforts), stops.length)
              .slice();
          }
          expected.push([...c]);
          if (c[0] === 'ping') return codec.ping(c[1]).slice();
          if (c[0] === 'rate') return codec.rate(c[1]).slice();
          if (c[0] === 'pulse') return codec.pulse(c[1], c[2], c[3], c[4]).slice();
          return c[0] === 'release' ? codec.release().slice() : codec.askHello().slice();
        });
        for (const chunk of split(Uint8Array.from(Buffer.concat(bytes)), cuts)) frames.push(chunk);
        expect(glove).toEqual(expected);
        expect(frames.counters.frames).toBe(commands.length);
        expect(frames.counters.malformed + frames.counters.badCrc + frames.counters.lost).toBe(0);
      }),
    );
  });
});

/** A frame around any type and body, with a right CRC. */
function frameOf(type: number, seq: number, ...body: number[]): Uint8Array {
  const payload = Uint8Array.of(type, seq, ...body, 0, 0);
  const crc = crc16(payload, 0, payload.length - 2);
  payload[payload.length - 2] = crc & 0xff;
  payload[payload.length - 1] = crc >> 8;
  const frame = new Uint8Array(cobsBound(payload.length) + 1);
  return frame.subarray(0, cobsEncode(payload, 0, payload.length, frame) + 1);
}
const hex = (bytes: Uint8Array) => Buffer.from(bytes).toString('hex');
const fromHex = (text: string) => Uint8Array.from(Buffer.from(text.replaceAll(' ', ''), 'hex'));

/** A whole pong: token 1, device time 2. */
const PONG = hex(frameOf(MESSAGE.pong, 0, 1, 0, 0, 0, 2, 0, 0, 0));

describe('broken frames', () => {
  // Each: what it is, chunks as hex, counters that differ from 0 besides bytes, pongs heard.
  const table: [what: string, chunks: string[], counters: Record<string, number>, pongs: number][] = [
    ['a whole frame', [PONG], { frames: 1 }, 1],
    ['a frame cut in two', [PONG.slice(0, 8), PONG.slice(8)], { frames: 1 }, 1],
    ['a frame byte by byte', PONG.match(/../g) ?? [], { frames: 1 }, 1],
    ['its 0 in a chunk of its own', [PONG.slice(0, -2), '00'], { frames: 1 }, 1],
    ['zeros before and between', ['0000', PONG, '00', PONG.slice(0, 4), PONG.slice(4)], { frames: 2 }, 2],
    [
      'the end of a frame from before we listened',
      [`${PONG.slice(-14)}${PONG}`],
      { badCrc: 1, frames: 1 },
      1,
    ],
    [
      'noise without a 0 spoils the first frame only',
      [`ffaa55${PONG}${PONG}`],
      { malformed: 1, frames: 1 },
      1,
    ],
    ['shorter than type, seq and CRC', ['04 01 02 03 00', PONG], { malformed: 1, frames: 1 }, 1],
    ['a block that runs past the end', ['09 01 02 03 00', PONG], { malformed: 1, frames: 1 }, 1],
    ['a flipped bit, then recovery', [PONG.replace(/^(.{6})../, '$1f0'), PONG], { badCrc: 1, frames: 1 }, 1],
    ['a lost byte, then recovery', [PONG.slice(0, 2) + PONG.slice(4), PONG], { badCrc: 1, frames: 1 }, 1],
    ['an unknown type', [hex(frameOf(0x6f, 0, 1, 2, 3)), PONG], { unknownType: 1, frames: 1 }, 1],
    [
      'a command of the host, echoed',
      [hex(frameOf(MESSAGE.release, 255)), PONG],
      { unknownType: 1, frames: 1 },
      1,
    ],
    [
      'a pong that is too long',
      [hex(frameOf(MESSAGE.pong, 255, 1, 2, 3, 4, 5, 6, 7, 8, 9))],
      { malformed: 1 },
      0,
    ],
    [
      'samples with half a channel',
      [hex(frameOf(MESSAGE.samples, 0, 1, 2, 3, 4, 5, 6, 7))],
      { malformed: 1 },
      0,
    ],
    ['samples without a time', [hex(frameOf(MESSAGE.samples, 0, 1, 2, 3))], { malformed: 1 }, 0],
    [
      'a state without positions',
      [hex(frameOf(MESSAGE.state, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0))],
      { frames: 1 },
      0,
    ],
    ['a state cut short', [hex(frameOf(MESSAGE.state, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0))], { malformed: 1 }, 0],
    [
      'a hello that promises more than it holds',
      [hex(frameOf(MESSAGE.hello, 0, 1, 0, 1, 2, 3, 4, 5, 6, 7, 8, 0, 0, 0, 0, 9, 9))],
      { malformed: 1 },
      0,
    ],
    [
      'longer than a frame may be, in one chunk',
      [`${'11'.repeat(252)}00${PONG}`],
      { oversize: 1, frames: 1 },
      1,
    ],
    [
      'longer than a frame may be, in many chunks',
      [...Array.from({ length: 40 }, () => '11'.repeat(30)), `1100${PONG}`],
      { oversize: 1, frames: 1 },
      1,
    ],
    [
      'the longest frame that may be, damaged',
      [`${'11'.repeat(251)}00${PONG}`],
      { malformed: 1, frames: 1 },
      1,
    ],
  ];

  it.each(table)('%s', (_what, chunks, counters, pongs) => {
    const { codec, host } = twoEnds();
    for (const chunk of chunks) codec.push(fromHex(chunk));
    const { bytes, ...rest } = codec.counters;
    expect(bytes).toBe(chunks.join('').replaceAll(' ', '').length / 2);
    expect(Object.fromEntries(Object.entries(rest).filter(([, n]) => n > 0))).toEqual(counters);
    expect(host.filter(([name]) => name === 'pong')).toEqual(Array(pongs).fill(['pong', 1, 2]));
  });

  it('takes roles, kinds and widths that it does not know for spares', () => {
    const { codec, host } = twoEnds();
    const head = [1, 1, 0xde, 0xad, 0xbe, 0xef, 0, 1, 2, 3, 7, 0, 0xf4, 0x01];
    codec.push(
      frameOf(MESSAGE.hello, 0, ...head, 3, 2, 0x20, 12, 0xee, 12, 0x30, 99, 0x02, 0x01, 0x03, 0x77),
    );
    expect(host).toEqual([
      [
        'hello',
        {
          protocol: 1,
          hand: 'right',
          deviceId: 'deadbeef00010203',
          firmwareVersion: 7,
          sampleRateHz: 500,
          channels: [
            { role: 'index.curl', bits: 12 },
            { role: 'spare', bits: 12 },
            { role: 'spare', bits: 16 },
          ],
          actuators: [
            { role: 'index', kind: 'stringStop' },
            { role: 'spare', kind: 'stringStop' },
          ],
        },
      ],
    ]);
  });

  it('reads the known part of a later protocol version', () => {
    const body = [0, 1, 2, 3, 4, 5, 6, 7, 8, 0, 0, 0, 0, 0, 0, 0x55];
    const { codec, host } = twoEnds();
    codec.push(frameOf(MESSAGE.hello, 0, 2, ...body));
    codec.push(frameOf(MESSAGE.hello, 1, 1, ...body));
    expect(host.map(([, hello]) => (hello as Hello).protocol)).toEqual([2]);
    expect(codec.counters.malformed).toBe(1);
  });

  it('counts lost samples by their sequence number, across its wrap, and starts afresh after reset', () => {
    const { codec } = twoEnds();
    const samples = (seq: number) => codec.push(frameOf(MESSAGE.samples, seq, 1, 2, 3, 4, 0, 0));
    for (const seq of [250, 251, 254, 255, 0, 3]) {
      samples(seq);
      codec.push(frameOf(MESSAGE.note, 9, 0x61));
    }
    expect(codec.counters.lost).toBe(4);
    codec.reset();
    samples(77);
    expect(codec.counters.lost).toBe(4);
    expect(codec.counters.frames).toBe(13);
  });

  it('forgets a partial frame on reset', () => {
    const { codec, host } = twoEnds();
    codec.push(fromHex(PONG.slice(0, 10)));
    codec.reset();
    codec.push(fromHex(PONG));
    expect(host).toHaveLength(1);
  });
});

setFlagsFromString('--expose-gc');
const collectGarbage = runInNewContext('gc') as () => void;
function heapInUse(): number {
  collectGarbage();
  return process.memoryUsage().heapUsed;
}

describe('a flood of noise', () => {
  it('throws nothing, keeps memory flat, and finds every intact frame in 10 million bytes', () => {
    let seed = 12345;
    const random = () => {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
      return seed;
    };
    let pongs = 0;
    let wrong = 0;
    const codec = createFrameCodec({
      hello: () => {},
      samples: () => {},
      state: () => {},
      pong: ({ token, deviceTimeUs }) => {
        if (token === 0x600d && deviceTimeUs === 0xfeed) pongs++;
        else wrong++;
      },
      note: () => {},
    });
    const { frames } = twoEnds();
    const chunk = new Uint8Array(4096);
    const channels = new Uint16Array(12).fill(2000);
    let intact = 0;
    let bytes = 0;
    let heapAfterWarmUp = 0;
    while (bytes < 10_000_000) {
      let at = 0;
      while (at < 3500) {
        const kind = random() >>> 30;
        if (kind === 0) {
          for (let n = (random() >>> 24) + 1; n > 0; n--) chunk[at++] = random() >>> 24;
        } else if (kind === 1) {
          // A frame with one byte changed, or cut short.
          const frame = frames.samples(random(), 0, channels, 12);
          chunk.set(frame, at);
          const hit = at + ((random() >>> 8) % frame.length);
          if (random() >>> 31) chunk[hit] ^= 1 << ((random() >>> 8) & 7);
          at = random() >>> 31 ? hit + 1 : at + frame.length;
        } else {
          chunk[at++] = 0;
          const frame = frames.pong(0x600d, 0xfeed);
          chunk.set(frame, at);
          at += frame.length;
          intact++;
        }
      }
      bytes += at;
      for (let from = 0; from < at; ) {
        const to = Math.min(at, from + 1 + ((random() >>> 8) % 700));
        codec.push(chunk.subarray(from, to));
        from = to;
      }
      if (heapAfterWarmUp === 0 && bytes > 2_000_000) heapAfterWarmUp = heapInUse();
    }
    expect(pongs).toBe(intact);
    expect(wrong).toBe(0);
    expect(codec.counters.bytes).toBe(bytes);
    expect(codec.counters.badCrc).toBeGreaterThan(1000);
    expect(codec.counters.malformed).toBeGreaterThan(1000);
    expect(heapInUse() - heapAfterWarmUp).toBeLessThan(1e6);
  });
});
