import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { TautlineError } from '../../src/errors.js';
import { describeSession } from '../../src/recording/info.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { openSession } from '../../src/recording/session.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-damage-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = join(folder, 'damaged.mcap');
let whole: Buffer;
let samples = 0;

beforeAll(async () => {
  const source = join(folder, 'whole.mcap');
  await recordSimulated({ file: source, seconds: 4, rateHz: 100 });
  whole = readFileSync(source);
  const session = openSession(source);
  samples = describeSession(session).hands[0].samples;
  session.close();
});

/** Reads everything there is to read; the error of a file that cannot be opened. */
function read(bytes: Uint8Array) {
  writeFileSync(file, bytes);
  try {
    const session = openSession(file);
    try {
      return { info: describeSession(session), session };
    } finally {
      session.close();
    }
  } catch (error) {
    return { error };
  }
}

test('cut off anywhere: what came before is read, at most a chunk is missing, and info says so', () => {
  const start = whole.indexOf('"session"');
  let before = 0;
  for (let length = start + 60_000; length < whole.length - 12_000; length += 1777) {
    const { info, error } = read(whole.subarray(0, length));
    expect(error).toBeUndefined();
    expect(info!.complete).toBe(false);
    // Samples of 100 a second: those of half a second may be in the part that is cut.
    expect(info!.hands[0].samples).toBeGreaterThanOrEqual(before);
    before = info!.hands[0].samples;
  }
  expect(before).toBeGreaterThan(samples / 2);
});

test('a killed recorder: without the index, nothing else is missing', () => {
  const endOfData = whole.lastIndexOf(Buffer.from([0x0f, 4, 0, 0, 0, 0, 0, 0, 0]));
  expect(endOfData).toBeGreaterThan(0);
  const { info } = read(whole.subarray(0, endOfData));
  expect(info).toMatchObject({ complete: false, damage: { chunks: 0, bytes: 0, messages: 0 } });
  expect(info!.hands[0].samples).toBe(samples);
});

test('a damaged part costs itself alone, and is counted', () => {
  const bent = Buffer.from(whole);
  // The samples of a chunk in the middle.
  bent[findChunk(bent, Math.floor(bent.length / 2)) + 400] ^= 0x10;
  const { info } = read(bent);
  expect(info!.complete).toBe(true);
  expect(info!.damage.chunks).toBe(1);
  expect(info!.hands[0].samples).toBeGreaterThan(samples - 60);
  expect(info!.hands[0].samples).toBeLessThan(samples);

  // And the joints of the rest are computed.
  const session = openSession(file);
  let poses = 0;
  session.visit(createOfflineHands(session, (_, { valid }) => void (valid && poses++)).visitor);
  session.close();
  expect(poses).toBeGreaterThan(samples - 60);
});

test('damage to a length of a file without an index: the next part is found', () => {
  const cut = Buffer.from(whole.subarray(0, whole.length - 100));
  const chunk = findChunk(cut, Math.floor(cut.length / 2));
  cut[chunk + 3] ^= 0xff;
  const { info } = read(cut);
  expect(info!.complete).toBe(false);
  expect(info!.damage.bytes).toBeGreaterThan(0);
  expect(info!.hands[0].samples).toBeGreaterThan(samples - 120);
});

function findChunk(bytes: Buffer, from: number): number {
  for (let at = from; ; at++) {
    if (bytes[at] !== 0x06) continue;
    const length = Number(bytes.readBigUInt64LE(at + 1));
    if (length < bytes.length && bytes.readBigUInt64LE(at + 9 + 32) === BigInt(length - 40)) return at;
  }
}

test.each([
  ['empty', Buffer.alloc(0), /is not an MCAP file/],
  ['text', Buffer.from('profile: 1\ngloves: []\n'), /is not an MCAP file/],
  ['zip', Buffer.from('504b0304140000000800', 'hex'), /is not an MCAP file/],
  ['magic alone', Buffer.from('894d434150300d0a', 'hex'), /without messages|nothing was recorded/],
])('a file that is no session (%s) gives one clear line', (_name, bytes, message) => {
  const { error } = read(bytes);
  expect(error).toBeInstanceOf(TautlineError);
  expect((error as TautlineError).code).toBe('fileInvalid');
  expect((error as TautlineError).line).toMatch(message);
  expect((error as TautlineError).line).toContain(file);
});

test('no such file, a folder: one clear line each', () => {
  expect(() => openSession(join(folder, 'none.mcap'))).toThrow(/no such file/);
  expect(() => openSession(folder)).toThrow(/is a folder|cannot be read/);
});

/** Ten thousand with TAUTLINE_MUTATIONS=10000: a minute. */
const MUTATIONS = Number(process.env.TAUTLINE_MUTATIONS ?? 2000);

test(`${MUTATIONS} mutations: read in part or refused, never a crash`, async () => {
  const small = join(mkdtempSync(join(folder, 'mutations-')), 'small.mcap');
  await recordSimulated({ file: small, seconds: 0.4, rateHz: 40 });
  const sound = readFileSync(small);
  let seed = 12345;
  const random = (below: number): number => {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
    return Math.floor((seed / 2 ** 32) * below);
  };
  const outcomes = { whole: 0, part: 0, refused: 0 };
  for (let n = 0; n < MUTATIONS; n++) {
    let bytes = Buffer.from(sound);
    for (let change = 1 + random(3); change > 0; change--) {
      const at = random(bytes.length);
      const kind = random(5);
      if (kind === 0) bytes[at] ^= 1 << random(8);
      else if (kind === 1) bytes[at] = random(256);
      else if (kind === 2) bytes = bytes.subarray(0, Math.max(1, at));
      else if (kind === 3)
        bytes = Buffer.concat([bytes.subarray(0, at), bytes.subarray(random(bytes.length))]);
      else bytes.fill(random(2) * 255, at, Math.min(bytes.length, at + random(16)));
    }
    const { info, error } = read(bytes);
    // Whatever is wrong is said in a line of ours; another error is a crash.
    if (error !== undefined && !(error instanceof TautlineError)) throw error;
    if (!info) outcomes.refused++;
    else if (info.complete && info.damage.chunks + info.damage.bytes === 0) outcomes.whole++;
    else outcomes.part++;
  }
  // Most of this small file is its schemas: hit there, a file without an index cannot be understood. How often a
  // mutation hits what says nothing depends on the sizes of its parts.
  expect(outcomes.part).toBeGreaterThan(MUTATIONS / 20);
  expect(outcomes.refused).toBeGreaterThan(MUTATIONS / 20);
  expect(outcomes.whole).toBeLessThan(MUTATIONS / 20);
});
