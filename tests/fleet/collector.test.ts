import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { describe as describe_ } from '../../src/commands/info.js';
import { parseProfile } from '../../src/config/load.js';
import { type CollectorLimits, createCollector } from '../../src/fleet/collector.js';
import { createSegmentBuilder, stampSegment } from '../../src/fleet/segment.js';
import { profileDigest } from '../../src/fleet/session-start.js';
import type { StationTopic } from '../../src/fleet/topics.js';
import { anonymiseSession } from '../../src/recording/edit.js';
import { createFileWriter } from '../../src/recording/file-writer.js';
import { describeSession } from '../../src/recording/info.js';
import { type ClockBody, type OriginBody, openSession } from '../../src/recording/session.js';

/* What a collector takes, and what it bounds. */

const file = 'config/simulated.yaml';
const PROFILE = parseProfile(readFileSync(file, 'utf8'), file);
const DIGEST = profileDigest(PROFILE);
const EPOCH_US = 1_900_000_000e6;

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-collector-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const from = (station = 'bench', hand: 'left' | 'right' = 'right'): StationTopic => ({
  site: 'lab',
  station,
  kind: 'raw',
  hand,
});
const runId = (n: number): string => n.toString(16).padStart(16, '0');
const startOf = (run: number, more: object = {}): Buffer =>
  Buffer.from(
    JSON.stringify({
      fleet: 1,
      run: runId(run),
      digest: DIGEST,
      program: '0',
      timeUs: 1e6,
      epochNs: String(BigInt(EPOCH_US) * 1000n),
      hands: ['right'],
      profile: PROFILE,
      states: {},
      ...more,
    }),
  );

function builderOf(run: number, hand: 'left' | 'right' = 'right', digest = DIGEST) {
  const builder = createSegmentBuilder(hand, runId(run), () => digest);
  let timeUs = 1e6;
  return (size = 100): Uint8Array => {
    timeUs += 250_000;
    builder.add('received', timeUs, new Uint8Array(size));
    const segment = builder.take()!;
    stampSegment(segment, timeUs, 2000, 'synchronised');
    return segment;
  };
}

function collect(limits: Partial<CollectorLimits> = {}) {
  const asked: string[] = [];
  const clock = { nowMs: 0, wallUs: EPOCH_US };
  const collector = createCollector({
    folder,
    name: 'c',
    limits,
    nowMs: () => clock.nowMs,
    wallUs: () => clock.wallUs,
    echoUs: () => 1000,
    ask: ({ site, station }) => asked.push(`${site}/${station}`),
    failed(error) {
      throw error;
    },
  });
  return { collector, asked, clock };
}
const filesOf = (station: string): string[] => {
  const home = join(folder, 'lab', station);
  return existsSync(home) ? readdirSync(home).sort() : [];
};

describe('a collector', () => {
  it('asks for the start of a session, holds what comes until then, and makes no file for what is not sound', async () => {
    const { collector, asked, clock } = collect();
    const next = builderOf(1);
    await collector.segment(from(), next());
    await collector.segment(from(), next());
    expect(asked).toEqual(['lab/bench']);
    expect(readdirSync(folder)).toEqual([]);
    for (const bad of [
      '{}',
      'no JSON',
      startOf(2).toString(),
      startOf(1, { profile: { profile: 1 } }).toString(),
      startOf(1, { epochNs: '9'.repeat(19) }).toString(),
      startOf(1, { hands: ['middle'] }).toString(),
    ]) {
      await collector.start(from(), Buffer.from(bad));
    }
    expect(readdirSync(folder)).toEqual([]);
    clock.nowMs = 2500;
    await collector.tick();
    expect(asked).toHaveLength(2);
    await collector.start(from(), startOf(1));
    expect(filesOf('bench')).toHaveLength(1);
    await collector.close();
    expect(collector.counts).toMatchObject({ segments: 2, files: 1, open: 0 });
    expect(filesOf('bench')[0]).toBe('20300317T174640Z-00000000-c.mcap');
  });

  it('gives up a session whose start does not come', async () => {
    const { collector, clock } = collect();
    await collector.segment(from(), builderOf(1)());
    clock.nowMs = 11_000;
    await collector.tick();
    expect(collector.counts.refused.noStart).toBe(1);
    await collector.start(from(), startOf(1));
    expect(filesOf('bench')).toEqual([]);
  });

  it('refuses what is of another hand, of another profile, or no segment', async () => {
    const { collector } = collect();
    const next = builderOf(1);
    await collector.segment(from(), next());
    await collector.start(from(), startOf(1));
    await collector.segment(from('bench', 'left'), next());
    await collector.segment(from(), new Uint8Array(100));
    await collector.segment(from(), next().subarray(0, 60));
    await collector.segment(
      from(),
      builderOf(1, 'right', '0'.repeat(16))().map((byte, i) => (i === 4 ? 9 : byte)),
    );
    expect(collector.counts).toMatchObject({ segments: 1, refused: { notSound: 4 } });
    await collector.close();
  });

  it('is bounded in stations, in sessions of each, in bytes a second and in what it holds', async () => {
    const limits = {
      stations: 3,
      runs: 2,
      startsAtOnce: 2,
      startsPerS: 0.1,
      burstBytes: 5000,
      bytesPerS: 100,
    };
    const { collector, clock } = collect({ ...limits, heldBytes: 1000, heldBytesOfAll: 2500 });
    for (let n = 0; n < 10; n++) await collector.segment(from(`s${n}`), builderOf(1)());
    expect(collector.counts.stations).toBe(3);
    expect(collector.counts.refused.tooMany).toBe(7);
    for (let run = 2; run < 6; run++) await collector.segment(from('s0'), builderOf(run)());
    expect(collector.counts.refused.tooMany).toBe(10);
    for (let n = 0; n < 30; n++)
      await collector.segment(
        from('s1'),
        builderOf(1)(300).map((byte, i) => (i === 4 ? n + 1 : byte)),
      );
    expect(collector.counts.refused).toMatchObject({ tooMuch: 17, noStart: 11 });
    clock.nowMs = 20_000;
    await collector.tick();
    // What nobody came for is forgotten, and the allowance of starts comes back.
    await collector.segment(from('s0'), builderOf(9)());
    expect(collector.counts.refused.tooMany).toBe(10);
    expect(readdirSync(folder)).toEqual([]);
  });

  it('writes what is said twice once, also when the second comes after a long time', async () => {
    const { collector } = collect();
    const next = builderOf(1);
    const first = next();
    await collector.segment(from(), first);
    await collector.start(from(), startOf(1));
    for (let n = 0; n < 100; n++) await collector.segment(from(), next());
    await collector.segment(from(), first);
    expect(collector.counts).toMatchObject({ segments: 101, duplicates: 1 });
    await collector.close();
  });

  it('says where a session comes from, and how far its clock is off', async () => {
    const { collector, clock } = collect();
    const next = builderOf(1);
    for (let n = 0; n < 60; n++) {
      clock.nowMs += 250;
      // The station is 40 ms ahead, and a message takes 1 ms.
      clock.wallUs = EPOCH_US + 1e6 + 250_000 * (n + 1) - 40_000 + 1000;
      await collector.segment(from(), next());
      if (n === 0) await collector.start(from(), startOf(1));
    }
    await collector.close();
    const session = openSession(join(folder, 'lab', 'bench', filesOf('bench')[0]));
    const clocks: ClockBody[] = [];
    const origins: OriginBody[] = [];
    session.visit({
      clock: (_, body) => void clocks.push(body),
      origin: (_, body) => void origins.push(body),
    });
    expect(origins).toEqual([{ site: 'lab', station: 'bench', run: runId(1), collector: 'c' }]);
    expect(clocks.length).toBeGreaterThan(1);
    for (const { offsetUs, errorUs, ntp } of clocks) {
      expect(ntp).toBe('synchronised');
      // (2 ms + 1 ms) / 2, and what two clocks may drift apart in the window.
      expect(errorUs).toBe(2000);
      expect(Math.abs(offsetUs + 40_000)).toBeLessThanOrEqual(errorUs!);
    }
    const info = describeSession(session);
    expect(info.collected).toMatchObject({
      site: 'lab',
      station: 'bench',
      collector: 'c',
      clock: { errorMs: 2 },
    });
    expect(describe_(info).join('\n')).toMatch(
      /collected from lab\/bench by c\n {2}add -\d+\.\d ms \(± 2\.0 ms\) to its times .* synchronised/,
    );
    // What is passed on without names does not say from where it is.
    const shared = join(folder, 'shared.mcap');
    const out = createFileWriter(shared);
    anonymiseSession(session, out);
    out.end();
    session.close();
    const anonymous = openSession(shared);
    expect(describeSession(anonymous).collected).toBeUndefined();
    anonymous.close();
  });

  it('ends the file of a station that has fallen silent, and begins another when it is back', async () => {
    const { collector, clock } = collect();
    const next = builderOf(1);
    await collector.segment(from(), next());
    await collector.start(from(), startOf(1));
    clock.nowMs = 61_000;
    await collector.tick();
    expect(collector.counts.open).toBe(0);
    const whole = openSession(join(folder, 'lab', 'bench', filesOf('bench')[0]));
    expect(whole.file.complete).toBe(true);
    whole.close();
    await collector.segment(from(), next());
    await collector.start(from(), startOf(1));
    await collector.close();
    expect(filesOf('bench')).toHaveLength(2);
  });
});
