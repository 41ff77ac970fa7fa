import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { TautlineError } from '../../src/errors.js';
import { JOINT_NAMES } from '../../src/hand/joints.js';
import { compareSession } from '../../src/recording/compare.js';
import { anonymiseSession, cutSession, mergeSessions } from '../../src/recording/edit.js';
import { exportCsv, exportNdjson, visitFrames } from '../../src/recording/export-text.js';
import { openFileSink } from '../../src/recording/file-sink.js';
import { createFileWriter } from '../../src/recording/file-writer.js';
import { describeSession } from '../../src/recording/info.js';
import { partName } from '../../src/recording/recorder.js';
import { openSession } from '../../src/recording/session.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-recorder-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
let count = 0;
const newFile = (): string => join(folder, `${count++}.mcap`);

function describe(file: string) {
  const session = openSession(file);
  const info = describeSession(session);
  session.close();
  return info;
}

/** A disk that takes so many bytes, the last of them in part, as a full one does. */
const fullDisk = (room: number) => async (path: string, flags: string) => {
  const file = await open(path, flags);
  return {
    async write(bytes: Uint8Array, offset: number, length: number) {
      if (room <= 0) throw Object.assign(new Error('no space left on device'), { code: 'ENOSPC' });
      const taken = Math.min(room, length);
      room -= taken;
      return file.write(bytes, offset, taken);
    },
    datasync: () => file.datasync(),
    close: () => file.close(),
  } as unknown as Awaited<ReturnType<typeof open>>;
};

test('a full disk: one clear line, the recording ends, what was written is read', async () => {
  const file = newFile();
  const status = await recordSimulated({
    file,
    seconds: 10,
    rateHz: 100,
    open: (path, options) => openFileSink(path, { ...options, openFile: fullDisk(100_000) }),
  });
  expect(status.running).toBe(false);
  expect(status.failure).toBeInstanceOf(TautlineError);
  expect(status.failure?.code).toBe('diskFull');
  expect(status.failure?.line).toBe(
    `${file}: the disk is full; what was recorded until now is in the file. Make room, or record to another disk.`,
  );
  expect(readFileSync(file).length).toBe(100_000);
  const info = describe(file);
  expect(info.complete).toBe(false);
  // Also the messages of the part that was written half.
  expect(info.hands[0].samples).toBeGreaterThan(190);
});

test('no folder, a file that is there: refused, nothing is touched', async () => {
  await expect(
    recordSimulated({ file: join(folder, 'no', 'a.mcap'), seconds: 1, rateHz: 50 }),
  ).rejects.toThrow(/its folder does not exist/);
  const file = newFile();
  writeFileSync(file, 'mine');
  await expect(recordSimulated({ file, seconds: 1, rateHz: 50 })).rejects.toThrow(/is there already/);
  expect(readFileSync(file, 'utf8')).toBe('mine');
});

test('rotation by time and by size: parts follow each other without a hole, each stands alone', async () => {
  for (const limit of [{ maxSeconds: 2 }, { maxBytes: 60_000 }]) {
    const file = newFile();
    const { parts } = await recordSimulated({ file, seconds: 7, rateHz: 100, ...limit });
    expect(parts).toBeGreaterThanOrEqual(3);
    let samples = 0;
    for (let part = 1; part <= parts; part++) {
      const info = describe(partName(file, part));
      expect(info).toMatchObject({ complete: true, part });
      samples += info.hands[0].samples;
      const session = openSession(partName(file, part));
      let poses = 0;
      visitFrames(session, (_hand, { valid }) => void (valid && poses++));
      session.close();
      expect(poses).toBe(info.hands[0].samples);
    }
    expect(samples).toBe(701);
    expect(existsSync(partName(file, parts + 1))).toBe(false);
  }
});

test('a disk that takes seconds to create the next part: parts are longer, nothing is lost', async () => {
  const file = newFile();
  let nowS = 0;
  let release = (): void => {};
  const { parts } = await recordSimulated({
    file,
    seconds: 9,
    rateHz: 100,
    maxSeconds: 1,
    each(s) {
      nowS = s;
      if (s > 5) release();
    },
    async open(path, options) {
      if (nowS > 0 && nowS < 5) await new Promise<void>((resolve) => (release = resolve));
      return openFileSink(path, options);
    },
  });
  expect(parts).toBeGreaterThanOrEqual(2);
  let samples = 0;
  for (let part = 1; part <= parts; part++) {
    const info = describe(partName(file, part));
    expect(info).toMatchObject({ complete: true, part });
    samples += info.hands[0].samples;
  }
  expect(samples).toBe(901);
});

test('requests, marks and what the governor gave are in it', async () => {
  const file = newFile();
  await recordSimulated({
    file,
    seconds: 4,
    rateHz: 100,
    each(s, [glove]) {
      if (s === 0.5) glove.arm('wearer', 'wearer');
      if (s > 1 && s < 3) {
        glove.resist('app1', {
          type: 'resist',
          hand: 'right',
          fingers: { index: { stopAt: 0.2, effort: 1 } },
        });
      }
    },
  });
  const info = describe(file);
  expect(info.requests.find(({ type }) => type === 'resist')).toMatchObject({ app: 'app1', refused: 0 });
  expect(info.requests.find(({ type }) => type === 'arm')).toMatchObject({ app: 'wearer', count: 1 });
  expect(info.hands[0].holds).toBeGreaterThanOrEqual(1);
  const session = openSession(file);
  const reasons = new Set<string>();
  session.visit({
    resistance: (_hand, _timeUs, { events }) => {
      for (const { reason } of events ?? []) reasons.add(reason);
    },
  });
  session.close();
  expect(reasons).toContain('armed');
});

test('compare: the same code agrees to the bit, another hand length does not', async () => {
  const file = newFile();
  await recordSimulated({ file, seconds: 3, rateHz: 100, joints: true });
  const session = openSession(file);
  const same = compareSession(session);
  expect(same.hands[0]).toMatchObject({ unmatched: 0, statesDiffer: 0, maxDistanceMm: 0, maxAngleDeg: 0 });
  expect(same.hands[0].frames).toBeGreaterThan(290);
  const longer = structuredClone(session.profile);
  longer.wearer.handLengthMm += 10;
  const other = compareSession(session, longer);
  const late = compareSession(session, longer, undefined, 2);
  session.close();
  expect(late.hands[0]).toMatchObject({ unmatched: 0, statesDiffer: 0 });
  expect(late.hands[0].frames).toBeGreaterThan(80);
  expect(late.hands[0].frames).toBeLessThan(110);
  for (const { atS } of late.hands[0].joints) expect(atS === 0 || atS >= 2).toBe(true);
  // A middle finger tip lies about a hand length from the wrist.
  expect(other.hands[0].maxDistanceMm).toBeGreaterThan(5);
  expect(other.hands[0].maxDistanceMm).toBeLessThan(15);
});

test('CSV has units, NDJSON is a message a line; both have every pose', async () => {
  const file = newFile();
  await recordSimulated({ file, seconds: 2, rateHz: 100 });
  const session = openSession(file);
  for (const [name, write] of [
    ['a.csv', exportCsv],
    ['a.ndjson', exportNdjson],
  ] as const) {
    const out = createFileWriter(join(folder, name));
    write(session, out, { fromS: 0, toS: Number.POSITIVE_INFINITY });
    out.end();
  }
  session.close();
  const [header, first, ...rest] = readFileSync(join(folder, 'a.csv'), 'utf8').trimEnd().split('\n');
  const columns = header.split(',');
  expect(columns).toHaveLength(9 + 26 * 14);
  expect(columns.slice(0, 5)).toEqual(['time [s]', 'hand', 'space', 'valid', 'thumb_state']);
  expect(columns).toContain('wrist_x [m]');
  expect(first.split(',')).toHaveLength(columns.length);
  const messages = readFileSync(join(folder, 'a.ndjson'), 'utf8')
    .trimEnd()
    .split('\n')
    .map((line) => JSON.parse(line));
  const joints = messages.filter(({ type }) => type === 'joints');
  expect(joints).toHaveLength(rest.length + 1);
  expect(joints[0].poses).toHaveLength(26);
  // The same numbers in both.
  const middle = rest.length >> 1;
  const row = rest[middle - 1].split(',').map(Number);
  const at = (column: string) => row[columns.indexOf(column)];
  const tipName = 'middle-finger-phalanx-distal';
  const tip = JOINT_NAMES.indexOf(tipName);
  const [x, , , , , , , radius] = joints[middle].poses[tip];
  expect(at(`${tipName}_x [m]`)).toBeCloseTo(x, 6);
  expect(at(`${tipName}_radius [m]`)).toBeCloseTo(radius, 6);
  expect(radius).toBeGreaterThan(0.004);
  expect(at(`${tipName}_vz [m/s]`)).toBeCloseTo(joints[middle].velocities[tip][2], 4);
  expect(at(`${tipName}_wx [rad/s]`)).toBeCloseTo(joints[middle].velocities[tip][3], 4);
});

/** Every pose, as text. */
function posesOf(file: string, hand: string): string[] {
  const session = openSession(file);
  const poses: string[] = [];
  visitFrames(session, (of, frame) => {
    if (of === hand && frame.valid) poses.push(Array.from(frame.poses).join(' '));
  });
  session.close();
  return poses;
}

function edit(
  files: string[],
  act: (sessions: ReturnType<typeof openSession>[], out: ReturnType<typeof createFileWriter>) => void,
) {
  const file = newFile();
  const out = createFileWriter(file);
  const sessions = files.map(openSession);
  act(sessions, out);
  out.end();
  for (const session of sessions) session.close();
  return file;
}

test('a cut, a merge, an anonymous copy', async () => {
  const left = newFile();
  const right = newFile();
  await recordSimulated({ file: left, seconds: 4, rateHz: 100, hands: ['left'] });
  await recordSimulated({ file: right, seconds: 4, rateHz: 100, hands: ['right'] });

  const cut = edit([left], ([session], out) => cutSession(session, out, { fromS: 1, toS: 2.5 }));
  const part = describe(cut);
  expect(part.durationS).toBeCloseTo(1.5, 1);
  expect(part.hands[0].samples).toBeGreaterThan(145);
  expect(part.hands[0].samples).toBeLessThan(155);
  expect(posesOf(cut, 'left')).toHaveLength(part.hands[0].samples);

  const both = edit([left, right], ([a, b], out) => mergeSessions(a, b, out, 0));
  expect(describe(both).hands.map(({ hand, samples }) => [hand, samples])).toEqual([
    ['left', 401],
    ['right', 401],
  ]);
  expect(posesOf(both, 'left')).toEqual(posesOf(left, 'left'));
  expect(() => edit([left, both], ([a, b], out) => mergeSessions(a, b, out))).toThrow(
    /Both sessions have a left/,
  );

  const anonymous = edit([left], ([session], out) => anonymiseSession(session, out));
  const { hands } = describe(anonymous);
  const [{ deviceId }] = describe(left).hands;
  expect(deviceId).toMatch(/^5100/);
  expect(hands[0]).toMatchObject({ deviceId: '0000000000000000', samples: 401, badCrc: 0, lost: 0 });
  expect(posesOf(anonymous, 'left')).toEqual(posesOf(left, 'left'));
  const bytes = readFileSync(anonymous);
  expect(bytes.includes(deviceId!)).toBe(false);
  expect(bytes.includes(Buffer.from(deviceId!, 'hex').subarray(0, 6))).toBe(false);
  expect(readFileSync(left).includes(Buffer.from(deviceId!, 'hex').subarray(2, 6))).toBe(true);
  expect(readdirSync(folder).length).toBeGreaterThan(5);
});
