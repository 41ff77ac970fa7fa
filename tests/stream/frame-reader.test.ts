import fc from 'fast-check';
import { describe, expect, it, test } from 'vitest';
import * as ws from 'ws';
import { FrameReader, OPCODE } from '../../src/stream/frame-reader.js';
import { type ClientFrame, clientFrame, text } from './client-frames.js';

const MOST = 1000;

/** What a reader makes of bytes, given to it in pieces. */
function readAll(bytes: Buffer, cuts: readonly number[] = [], maxFrames = 1e9) {
  const said: unknown[][] = [];
  const reader = new FrameReader(MOST, {
    message: ({ text, bytes, hasWord }) => said.push(['message', text, bytes, hasWord]),
    word: (final) => said.push(['word', final]),
    ping: (payload) => said.push(['ping', payload.toString('latin1')]),
    pong: (payload) => said.push(['pong', payload.toString('latin1')]),
    close: (code, reason) => said.push(['close', code, reason]),
    fault: (code, reason) => said.push(['fault', code, reason]),
  });
  const ends = [...new Set([...cuts.map((cut) => cut % (bytes.length + 1)), bytes.length])].sort(
    (a, b) => a - b,
  );
  let at = 0;
  for (const end of ends) while (at < end) at = reader.read(bytes, at, end, maxFrames);
  return { said, reader };
}

describe('frames', () => {
  test('the examples of RFC 6455, 5.7', () => {
    const hello = Buffer.from([0x81, 0x85, 0x37, 0xfa, 0x21, 0x3d, 0x7f, 0x9f, 0x4d, 0x51, 0x58]);
    expect(readAll(hello).said).toEqual([['message', 'Hello', 5, false]]);
    const pong = Buffer.from([0x8a, 0x85, 0x37, 0xfa, 0x21, 0x3d, 0x7f, 0x9f, 0x4d, 0x51, 0x58]);
    expect(readAll(pong).said).toEqual([['pong', 'Hello']]);
    expect(readAll(Buffer.from([0x81, 0x05, 0x48, 0x65, 0x6c, 0x6c, 0x6f])).said[0]).toEqual([
      'fault',
      1002,
      'a frame is not masked',
    ]);
    const twice = Buffer.concat([
      text('Hel', { fin: false }),
      clientFrame({ opcode: OPCODE.continuation, payload: Buffer.from('lo') }),
    ]);
    expect(readAll(twice).said).toEqual([['message', 'Hello', 5, false]]);
    const binary = clientFrame({ opcode: OPCODE.binary, payload: Buffer.alloc(256, 7) });
    expect(readAll(binary).said).toEqual([['message', undefined, 256, false]]);
  });

  test.each<[string, Buffer, number, string]>([
    ['reserved bit', text('x', { reserved: 4 }), 1002, 'a reserved bit is set'],
    ['unknown opcode', clientFrame({ opcode: 3, payload: Buffer.alloc(0) }), 1002, 'opcode 3 is not known'],
    [
      'unknown control opcode',
      clientFrame({ opcode: 11, payload: Buffer.alloc(0) }),
      1002,
      'opcode 11 is not known',
    ],
    [
      'fragmented ping',
      clientFrame({ opcode: 9, fin: false, payload: Buffer.alloc(0) }),
      1002,
      'a control frame is fragmented',
    ],
    [
      'long ping',
      clientFrame({ opcode: 9, payload: Buffer.alloc(126) }),
      1002,
      'a control frame is too long',
    ],
    [
      'continuation of nothing',
      clientFrame({ opcode: 0, payload: Buffer.alloc(1) }),
      1002,
      'no message is there to go on with',
    ],
    [
      'message in a message',
      Buffer.concat([text('a', { fin: false }), text('b')]),
      1002,
      'a message begins inside another',
    ],
    ['no UTF-8', clientFrame({ opcode: 1, payload: Buffer.from([0xc3, 0x28]) }), 1007, 'a text is not UTF-8'],
    ['too long', text('x'.repeat(MOST + 1)), 1009, 'the message is too large'],
    [
      'a length beyond measure',
      Buffer.from([0x82, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0]),
      1009,
      'the message is too large',
    ],
    [
      'close of one byte',
      clientFrame({ opcode: 8, payload: Buffer.alloc(1) }),
      1002,
      'a close frame is malformed',
    ],
    [
      'close with a code that is never sent',
      clientFrame({ opcode: 8, payload: Buffer.from([0x03, 0xed]) }),
      1002,
      'a close frame is malformed',
    ],
  ])('%s is a fault', (_, bytes, code, reason) => {
    expect(readAll(bytes).said).toEqual([['fault', code, reason]]);
  });

  test('fragments that are too large together are a fault, at the fragment that makes them so', () => {
    const part = (fin: boolean, opcode = 0) => clientFrame({ opcode, fin, payload: Buffer.alloc(400) });
    expect(readAll(Buffer.concat([part(false, 2), part(false), part(false), part(true)])).said).toEqual([
      ['fault', 1009, 'the message is too large'],
    ]);
  });

  test('no more frames are read at a time than are asked for', () => {
    const bytes = Buffer.concat([text('a'), text('b'), text('c')]);
    const reader = new FrameReader(MOST, {
      message: () => {},
      word: () => {},
      ping: () => {},
      pong: () => {},
      close: () => {},
      fault: () => {},
    });
    expect(reader.read(bytes, 0, bytes.length, 2)).toBe(2 * text('a').length);
  });

  test('a message in the smallest of fragments is kept in no more than its size, and given up when too large', () => {
    const { reader, said } = readAll(
      Buffer.concat([
        text('x', { fin: false }),
        ...Array.from({ length: 500 }, () =>
          clientFrame({ opcode: 0, fin: false, payload: Buffer.from('x') }),
        ),
      ]),
    );
    expect(said).toEqual([]);
    expect(reader.keeps).toBeGreaterThan(500);
    expect(reader.keeps).toBeLessThanOrEqual(MOST);
    const more = clientFrame({ opcode: 0, fin: false, payload: Buffer.alloc(MOST) });
    reader.read(more, 0, more.length, 10);
    expect(reader.keeps).toBe(0);
  });
});

describe('the reader of the npm package `ws`, an implementation by others', () => {
  type ReceiverClass = new (options: object) => NodeJS.WritableStream;
  const { Receiver } = ws as unknown as { Receiver: ReceiverClass };

  const frame = fc.record<ClientFrame>({
    opcode: fc.constantFrom(0, 1, 1, 1, 2, 8, 9, 10, 3),
    fin: fc.boolean(),
    reserved: fc.constantFrom(0, 0, 0, 0, 0, 0, 0, 0, 2),
    masked: fc.constantFrom(true, true, true, true, true, true, true, false),
    mask: fc.tuple(fc.nat(255), fc.nat(255), fc.nat(255), fc.nat(255)),
    payload: fc.oneof(
      fc.uint8Array({ maxLength: 130 }),
      fc.string({ unit: 'grapheme', maxLength: 60 }).map((said) => Buffer.from(said)),
      fc.nat(700).map((length) => Buffer.alloc(length, 97)),
    ),
  });

  it('says the same of any frames, cut anywhere', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.array(frame, { maxLength: 8 }),
        fc.array(fc.nat(), { maxLength: 6 }),
        async (frames, cuts) => {
          const bytes = Buffer.concat(frames.map(clientFrame));
          const expected: unknown[][] = [];
          const receiver = new Receiver({ isServer: true, maxPayload: MOST });
          const faulted = new Promise<void>((resolve) => {
            receiver.on('error', (error: Error & Record<symbol, number>) => {
              const status = Object.getOwnPropertySymbols(error).find(
                (key) => key.description === 'status-code',
              );
              expected.push(['fault', status && error[status]]);
              resolve();
            });
          });
          receiver.on('message', (data: Buffer, isBinary: boolean) =>
            expected.push(['message', isBinary ? undefined : data.toString(), data.length]),
          );
          receiver.on('ping', (data: Buffer) => expected.push(['ping', data.toString('latin1')]));
          receiver.on('pong', (data: Buffer) => expected.push(['pong', data.toString('latin1')]));
          receiver.on('conclude', (code: number, reason: Buffer) =>
            expected.push(['close', code, reason.toString()]),
          );
          const ended = new Promise<void>((resolve) => receiver.on('finish', resolve));
          // It unmasks in place.
          receiver.write(Buffer.from(bytes));
          receiver.end();
          await Promise.race([ended, faulted]);
          const ours = readAll(bytes, cuts)
            .said.filter(([name]) => name !== 'word')
            .map((event) =>
              event[0] === 'fault' ? event.slice(0, 2) : event[0] === 'message' ? event.slice(0, 3) : event,
            );
          // After what is too large we go on looking for the word.
          const end = ours.findIndex(([name]) => name === 'fault' || name === 'close');
          expect(end < 0 ? ours : ours.slice(0, end + 1)).toEqual(expected);
        },
      ),
      { numRuns: 2000 },
    );
  });
});

describe('the word that frees fingers', () => {
  const LINE = '{"type":"disarm"}';

  test('is seen in a whole message, and told with it', () => {
    expect(readAll(text(LINE)).said).toEqual([['message', LINE, LINE.length, true]]);
    expect(readAll(clientFrame({ opcode: 2, payload: Buffer.from(LINE) })).said).toEqual([
      ['message', undefined, LINE.length, true],
    ]);
  });

  it('is seen wherever bytes and fragments are cut', () => {
    fc.assert(
      fc.property(
        fc.array(fc.nat(LINE.length), { maxLength: 5 }),
        fc.array(fc.nat(), { maxLength: 8 }),
        fc.boolean(),
        (fragments, cuts, pinged) => {
          const ends = [...new Set([...fragments, LINE.length])].sort((a, b) => a - b);
          const frames = ends.map((end, i) =>
            text(LINE.slice(ends[i - 1] ?? 0, end), { opcode: i === 0 ? 1 : 0, fin: i === ends.length - 1 }),
          );
          const ping = clientFrame({ opcode: 9, payload: Buffer.from('p') });
          const { said } = readAll(
            Buffer.concat(pinged ? frames.flatMap((one) => [one, ping]) : frames),
            cuts,
          );
          expect(said).toContainEqual(['message', LINE, LINE.length, true]);
        },
      ),
    );
  });

  test('is told before its message is whole, and that it may be explained yet', () => {
    expect(readAll(text(LINE, { fin: false })).said).toEqual([['word', false]]);
  });

  test.each<[string, Buffer]>([
    ['a message that is too large', text(`${' '.repeat(MOST)}${LINE}`)],
    [
      'one that has become too large',
      Buffer.concat([text(LINE, { fin: false }), clientFrame({ opcode: 0, payload: Buffer.alloc(MOST) })]),
    ],
    ['what comes after one', Buffer.concat([text('x'.repeat(MOST + 1)), text(LINE)])],
    ['a frame that is not masked', text(LINE, { masked: false })],
    ['what comes after no frame', Buffer.concat([text('x', { reserved: 7 }), Buffer.from(LINE)])],
    [
      'text that is not UTF-8',
      clientFrame({ opcode: 1, payload: Buffer.concat([Buffer.from([0xff]), Buffer.from(LINE)]) }),
    ],
    ['a ping', clientFrame({ opcode: 9, payload: Buffer.from(LINE) })],
    [
      'a reason to close',
      clientFrame({ opcode: 8, payload: Buffer.concat([Buffer.from([3, 232]), Buffer.from('Disarm!')]) }),
    ],
  ])('is final in %s', (_, bytes) => {
    expect(readAll(bytes).said).toContainEqual(['word', true]);
    expect(readAll(bytes, [...bytes.keys()]).said).toContainEqual(['word', true]);
  });

  test('does not reach from one message into the next', () => {
    const { said } = readAll(Buffer.concat([text('dis'), text('arm')]));
    expect(said).toEqual([
      ['message', 'dis', 3, false],
      ['message', 'arm', 3, false],
    ]);
  });
});
