import { closeSync, fstatSync, mkdtempSync, openSync, readFileSync, readSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { McapIndexedReader, McapStreamReader, type McapTypes } from '@mcap/core';
import { Ajv } from 'ajv';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { crc32 } from '../../src/mcap/crc32.js';
import { openSession } from '../../src/recording/session.js';

/**
 * Session files against the MCAP specification, version 0: walked here by its record layout (from memory), and read
 * by the format's own reference readers in @mcap/core. Our files are written with the records of that package,
 * but by a writer of our own, and our reader shares no code with it.
 */
const folder = mkdtempSync(join(tmpdir(), 'tautline-mcap-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = join(folder, 'session.mcap');
let bytes: Buffer;
let own: Map<string, number>;

beforeAll(async () => {
  await recordSimulated({ file, seconds: 3, rateHz: 100, hands: ['left', 'right'], joints: true });
  bytes = readFileSync(file);
  own = new Map();
  const session = openSession(file);
  const count = (hand: string, channel: string) => () =>
    void own.set(`${hand}/${channel}`, (own.get(`${hand}/${channel}`) ?? 0) + 1);
  session.visit({
    received: (hand) => count(hand, 'received')(),
    sent: (hand) => count(hand, 'sent')(),
    joints: (hand) => count(hand, 'joints')(),
    health: (hand) => count(hand, 'health')(),
    status: (hand) => count(hand, 'status')(),
    glove: (hand) => count(hand, 'glove')(),
  });
  session.close();
}, 60_000);

test('CRC-32: check value of the catalogue of CRCs (0xCBF43926), also in pieces', () => {
  const text = Buffer.from('123456789');
  expect(crc32(text)).toBe(0xcbf43926);
  expect(crc32(text.subarray(4), crc32(text.subarray(0, 4)))).toBe(0xcbf43926);
});

test('record by record: magic, header, chunks with true CRCs, data end, summary, footer, magic', () => {
  const magic = Buffer.from('894d434150300d0a', 'hex');
  expect(bytes.subarray(0, 8)).toEqual(magic);
  expect(bytes.subarray(-8)).toEqual(magic);
  const opcodes: number[] = [];
  let at = 8;
  let dataEnd = -1;
  while (at < bytes.length - 8) {
    const opcode = bytes[at];
    const length = Number(bytes.readBigUInt64LE(at + 1));
    const content = bytes.subarray(at + 9, at + 9 + length);
    expect(content.length).toBe(length);
    opcodes.push(opcode);
    if (opcode === 0x06) {
      const compression = content.readUInt32LE(28);
      expect(compression).toBe(0);
      const records = content.subarray(40);
      expect(records.length).toBe(Number(content.readBigUInt64LE(16)));
      expect(content.readUInt32LE(24)).toBe(crc32(records));
    } else if (opcode === 0x0f) {
      dataEnd = at;
      expect(content.readUInt32LE(0)).toBe(crc32(bytes.subarray(0, at)));
    } else if (opcode === 0x02) {
      const summaryStart = Number(content.readBigUInt64LE(0));
      expect(summaryStart).toBe(dataEnd + 13);
      // Up to the field of the CRC itself.
      expect(content.readUInt32LE(16)).toBe(crc32(bytes.subarray(summaryStart, at + 9 + 16)));
    }
    at += 9 + length;
  }
  expect(at).toBe(bytes.length - 8);
  expect(opcodes[0]).toBe(0x01);
  expect(opcodes[opcodes.length - 1]).toBe(0x02);
  for (const summary of [0x03, 0x04, 0x08, 0x0b, 0x0e]) {
    expect(opcodes.lastIndexOf(summary)).toBeGreaterThan(opcodes.indexOf(0x0f));
  }
});

test('the stream reader and the indexed reader of @mcap/core see the same messages, in order of time', async () => {
  const streamed = new Map<string, number>();
  const channels = new Map<number, McapTypes.Channel>();
  const reader = new McapStreamReader({ validateCrcs: true });
  reader.append(bytes);
  for (let record = reader.nextRecord(); record; record = reader.nextRecord()) {
    if (record.type === 'Channel') channels.set(record.id, record);
    if (record.type !== 'Message') continue;
    const { topic } = channels.get(record.channelId)!;
    streamed.set(topic, (streamed.get(topic) ?? 0) + 1);
  }
  expect(reader.done()).toBe(true);
  for (const [topic, count] of own) expect(streamed.get(topic)).toBe(count);

  const fd = openSync(file, 'r');
  try {
    const indexed = await McapIndexedReader.Initialize({
      readable: {
        size: async () => BigInt(fstatSync(fd).size),
        read: async (offset, size) => {
          const into = new Uint8Array(Number(size));
          readSync(fd, into, 0, into.length, Number(offset));
          return into;
        },
      },
    });
    expect(indexed.header.profile).toBe('tautline');
    expect(indexed.statistics!.messageCount).toBe(BigInt([...streamed.values()].reduce((a, b) => a + b)));
    let count = 0;
    let last = 0n;
    for await (const message of indexed.readMessages()) {
      expect(message.logTime >= last).toBe(true);
      last = message.logTime;
      count++;
    }
    expect(BigInt(count)).toBe(indexed.statistics!.messageCount);
    // From a time on, as a viewer seeks.
    const { messageStartTime, messageEndTime } = indexed.statistics!;
    const middle = (messageStartTime + messageEndTime) / 2n;
    const { value } = await indexed.readMessages({ startTime: middle }).next();
    expect(value!.logTime - middle).toBeLessThan(100_000_000n);
  } finally {
    closeSync(fd);
  }
});

test('schemas are in the file, and every JSON message obeys its own', () => {
  const reader = new McapStreamReader({ validateCrcs: true });
  reader.append(bytes);
  const schemas = new Map<number, McapTypes.Schema>();
  const channels = new Map<number, McapTypes.Channel>();
  const checks = new Map<number, ReturnType<Ajv['compile']>>();
  const checked = new Set<string>();
  for (let record = reader.nextRecord(); record; record = reader.nextRecord()) {
    if (record.type === 'Schema') schemas.set(record.id, record);
    if (record.type === 'Channel') channels.set(record.id, record);
    if (record.type !== 'Message') continue;
    const { schemaId, messageEncoding, topic } = channels.get(record.channelId)!;
    const schema = schemas.get(schemaId)!;
    expect(schema.data.length).toBeGreaterThan(50);
    if (messageEncoding !== 'json') continue;
    expect(schema.encoding).toBe('jsonschema');
    let check = checks.get(schemaId);
    if (!check) {
      check = new Ajv({ strict: false }).compile(JSON.parse(new TextDecoder().decode(schema.data)));
      checks.set(schemaId, check);
    }
    const body = JSON.parse(new TextDecoder().decode(record.data));
    check(body);
    expect(check.errors, topic).toBeNull();
    checked.add(topic);
  }
  expect([...checked].sort()).toEqual(
    ['left', 'right']
      .flatMap((hand) =>
        ['drift', 'fits', 'glove', 'health', 'resistance', 'status'].map((channel) => `${hand}/${channel}`),
      )
      .concat('profile', 'session')
      .sort(),
  );
});
