import { existsSync, mkdtempSync, readdirSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createCollector } from '../../src/fleet/collector.js';
import { recordRaw } from '../../src/fleet/glove-publisher.js';
import { readSegmentHead } from '../../src/fleet/segment.js';
import { profileDigest, sessionStart } from '../../src/fleet/session-start.js';
import type { HandFrame } from '../../src/glove/view.js';
import { HAND_SIDES, type HandSide } from '../../src/hand/joints.js';
import { cutSession } from '../../src/recording/edit.js';
import { createFileWriter } from '../../src/recording/file-writer.js';
import { describeSession } from '../../src/recording/info.js';
import { joinSessions } from '../../src/recording/join.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { withoutSecrets } from '../../src/recording/recorder.js';
import { openSession, type Session } from '../../src/recording/session.js';
import { createSessionWriter } from '../../src/recording/session-writer.js';
import { createHandClock, simulatedGloves, simulatedProfile } from '../recording/live-glove.js';

/* From the glove through segments and collectors to a session, in turned time: nothing of the hand is lost on the way. */

const RUN = '0123456789abcdef';
const STATION = { site: 'lab', station: 'bench' };
const SECONDS = 6;
const folder = mkdtempSync(join(tmpdir(), 'tautline-fleet-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Every bit of what apps would see. */
const asLine = (
  hand: string,
  { timeUs, valid, reason, fingerStates, poses, velocities }: HandFrame,
): string => {
  const bits = Buffer.concat([Buffer.from(poses.buffer), Buffer.from(velocities.buffer)]).toString('base64');
  return `${hand} ${timeUs} ${valid} ${reason} ${fingerStates} ${bits}`;
};

interface Sent {
  hand: HandSide;
  bytes: Uint8Array;
}
let sent: Sent[];
/** As it stands at the broker at the start of the run, and once the gloves have described themselves. */
let start: Uint8Array;
let startLater: Uint8Array;
let live: Record<HandSide, string[]>;

beforeAll(async () => {
  const clock = createHandClock();
  const profile = simulatedProfile(['left', 'right']);
  const gloves = simulatedGloves(profile, clock);
  const recorded = withoutSecrets(profile);
  const digest = profileDigest(recorded);
  sent = [];
  live = { left: [], right: [] };
  const epochNs = 1_900_000_000_000_000_000n;
  const recorders = gloves.map((glove) =>
    recordRaw(
      glove,
      RUN,
      digest,
      (kind, hand, bytes) => void (kind === 'raw' && sent.push({ hand, bytes })),
      clock,
    ),
  );
  const startNow = () =>
    sessionStart({ run: RUN, digest, program: '0', epochNs, profile: recorded, gloves }, clock.nowUs());
  start = startNow();
  for (const glove of gloves) {
    glove.listen({
      frame: (frame) => live[glove.description.hand].push(asLine(glove.description.hand, frame)),
    });
    glove.start();
  }
  for (let quarter = 0; quarter < SECONDS * 4; quarter++) {
    await clock.runTo(clock.nowUs() + 250_000);
    for (const recorder of recorders) recorder.flush();
    if (quarter === 4) startLater = startNow();
  }
  for (const recorder of recorders) recorder.stop();
  for (const glove of gloves) await glove.close();
});

/** Whatever arrives of it: which collector gets a segment, and how often. */
async function collect(
  name: string,
  arrives: (n: number) => number[],
  maxSeconds?: number,
  from = start,
): Promise<string[]> {
  const output = join(folder, name);
  const failures: unknown[] = [];
  let nowMs = 0;
  const collectors = [0, 1].map((i) =>
    createCollector({
      folder: output,
      name: `c${i}`,
      nowMs: () => nowMs,
      ask: () => void collectors[i].start(STATION, from),
      failed: (error) => failures.push(error),
      ...(maxSeconds === undefined ? {} : { maxSeconds }),
    }),
  );
  for (const [n, { hand, bytes }] of sent.entries()) {
    nowMs += 125;
    for (const i of arrives(n)) await collectors[i].segment({ ...STATION, kind: 'raw', hand }, bytes);
    for (const collector of collectors) await collector.tick();
  }
  for (const collector of collectors) await collector.close();
  expect(failures).toEqual([]);
  const home = join(output, STATION.site, STATION.station);
  return readdirSync(home)
    .sort()
    .map((file) => join(home, file));
}

/** What the hands of a session do, by hand. */
function recompute(file: string): { session: Session; again: Record<HandSide, string[]> } {
  const session = openSession(file);
  const again: Record<HandSide, string[]> = { left: [], right: [] };
  const hands = createOfflineHands(session, (hand, frame) => again[hand].push(asLine(hand, frame)));
  session.visit(hands.visitor);
  return { session, again };
}

function expectAll(file: string): void {
  const { session, again } = recompute(file);
  expect(session.hands).toEqual(['left', 'right']);
  expect(session.damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
  for (const hand of HAND_SIDES) {
    expect(live[hand].length).toBeGreaterThan(200 * SECONDS);
    expect(again[hand].length).toBe(live[hand].length);
    expect(again[hand].findIndex((line, i) => line !== live[hand][i])).toBe(-1);
  }
  session.close();
}

describe('one collector', () => {
  test('the session gives the same joints as the glove did, to the last bit', async () => {
    const files = await collect('one', () => [0]);
    expect(files).toHaveLength(1);
    expectAll(files[0]);
  });

  test('what comes twice is written once', async () => {
    const [file] = await collect('twice', () => [0, 0]);
    expectAll(file);
  });

  test('a session in parts can be read part by part, and joined is as before', async () => {
    const files = await collect('parts', () => [0], 2);
    expect(files.length).toBeGreaterThan(2);
    for (const file of files.slice(1)) {
      const { session, again } = recompute(file);
      const { hands, damage } = describeSession(session);
      expect(damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
      for (const { hand, samples, gapCount } of hands) {
        expect(samples).toBeGreaterThan(200);
        expect(gapCount).toBe(0);
        expect(again[hand].length).toBeGreaterThan(200);
        expect(again[hand].at(-1)).toContain(' true ');
      }
      session.close();
    }
    expectAll(joined(files, 'parts').file);
  });

  test('a collector that comes late knows what it must', async () => {
    const [file] = await collect('late', (n) => (n < 20 ? [] : [0]), undefined, startLater);
    const { session, again } = recompute(file);
    const { hands } = describeSession(session);
    expect(hands.map(({ deviceId, gapCount }) => [deviceId !== undefined, gapCount])).toEqual([
      [true, 0],
      [true, 0],
    ]);
    for (const hand of HAND_SIDES) expect(again[hand].length).toBeGreaterThan(500);
    session.close();
  });
});

describe('two collectors', () => {
  test('that take turns: each has half, and joined it is all, to the last bit', async () => {
    const files = await collect('turns', (n) => [(n >> 1) % 2]);
    expect(files).toHaveLength(2);
    const { file, report } = joined(files, 'turns');
    expect(report).toEqual({ segments: sent.length, duplicates: 0, missing: 0 });
    expectAll(file);
  });

  test('that get some of it twice: joined it is there once', async () => {
    const files = await collect('both', (n) => (n % 3 === 0 ? [0, 1] : [n % 2]));
    const { file, report } = joined(files, 'both');
    expect(report.duplicates).toBe(Math.ceil(sent.length / 3));
    expect(report.missing).toBe(0);
    expectAll(file);
  });

  test('of which one dies: what is missing is said', async () => {
    const files = await collect('dies', (n) => (n >= 20 && n < 24 ? [] : [n < 20 ? 0 : 1]));
    expect(joined(files, 'dies').report).toEqual({ segments: sent.length - 4, duplicates: 0, missing: 4 });
  });

  test('of which one gets a single hand: it does not wait for the other', async () => {
    const output = join(folder, 'single');
    let nowMs = 0;
    const collector = createCollector({
      folder: output,
      name: 'c',
      nowMs: () => nowMs,
      ask: () => void collector.start(STATION, start),
      failed() {},
    });
    const size = (): number => {
      const home = join(output, STATION.site, STATION.station);
      return existsSync(home) ? statSync(join(home, readdirSync(home)[0])).size : 0;
    };
    const sizes: number[] = [];
    for (const { hand, bytes } of sent.filter(({ hand }) => hand === 'left')) {
      nowMs += 250;
      await collector.segment({ ...STATION, kind: 'raw', hand }, bytes);
      await collector.tick();
      sizes.push(size());
    }
    // From the third on, each makes it longer.
    expect(sizes.slice(3).every((bytes, i) => bytes > sizes[i + 2])).toBe(true);
    await collector.close();
  });

  test('a part that is cut out says where it comes from and how its clock stood; it is not joined any more', async () => {
    const files = await collect('cut', (n) => [n % 2]);
    const { file } = joined(files, 'cut');
    const clocks = [0, 1].map((n) => ({ offsetUs: 100 + n, errorUs: 20, ntp: 'free' }));
    // What a collector writes of the station's clock, now and then.
    const timed = join(folder, 'timed.mcap');
    const whole = openSession(file);
    const out = createFileWriter(timed);
    const writer = createSessionWriter(out.bytes, whole.head);
    const middleUs = (whole.startUs + whole.endUs) / 2;
    const at = [whole.startUs + 200_000, middleUs + 500_000];
    writer.json(undefined, 'profile', whole.startUs, whole.profile);
    whole.visit({
      origin: (timeUs, body) => writer.json(undefined, 'origin', timeUs, body),
      received: (hand, timeUs, bytes) => {
        for (const [n, clockUs] of at.entries()) {
          if (!(timeUs >= clockUs)) continue;
          writer.json(undefined, 'clock', clockUs, { timeUs: clockUs, ...clocks[n] });
          at[n] = Number.POSITIVE_INFINITY;
        }
        writer.link(hand, 'received', timeUs, bytes);
      },
      status: (hand, timeUs, body) => writer.json(hand, 'status', timeUs, body),
      glove: (hand, timeUs, body) => writer.json(hand, 'glove', timeUs, body),
    });
    writer.end();
    out.end();
    const session = openSession(timed);
    const part = join(folder, 'cut-part.mcap');
    const cut = createFileWriter(part);
    cutSession(session, cut, { fromS: (middleUs - session.startUs) / 1e6, toS: SECONDS });
    cut.end();

    const found = openSession(part);
    const seen: unknown[] = [];
    found.visit({
      origin: (_, body) => seen.push(body),
      clock: (timeUs, { offsetUs }) => seen.push([Math.round(timeUs - middleUs), offsetUs]),
    });
    expect(seen).toEqual([{ ...STATION, run: RUN, collector: 'c0' }, [0, 100], [500_000, 101]]);
    const never = createFileWriter(join(folder, 'never-cut.mcap'));
    const pieces = [openSession(files[0]), found];
    expect(() => joinSessions(pieces, never)).toThrow('is a part that was cut out');
    never.abandon();
    for (const one of [...pieces, session, whole]) one.close();
  });

  test('of two runs of a service, nothing is joined', async () => {
    const files = await collect('run', () => [0]);
    const other = sent.map(({ bytes }) => bytes);
    expect(readSegmentHead(other[0])).toMatchObject({ run: RUN });
    const local = openSession('config/sessions/everyday.mcap');
    const whole = openSession(files[0]);
    const out = createFileWriter(join(folder, 'never.mcap'));
    expect(() => joinSessions([whole, local], out)).toThrow('was not recorded by a collector');
    out.abandon();
    local.close();
    whole.close();
  });
});

function joined(files: string[], name: string) {
  const file = join(folder, `${name}.mcap`);
  const sessions = files.map(openSession);
  const out = createFileWriter(file);
  const report = joinSessions(sessions, out);
  out.end();
  for (const session of sessions) session.close();
  return { file, report };
}
