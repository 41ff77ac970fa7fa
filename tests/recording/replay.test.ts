import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { openFits, type SavedFit } from '../../src/config/fit-file.js';
import { createGlove } from '../../src/glove/glove.js';
import type { HandFrame } from '../../src/glove/view.js';
import { type HandSide, JOINT_COUNT, POSE_STRIDE } from '../../src/hand/joints.js';
import { compareSession } from '../../src/recording/compare.js';
import { anonymiseSession, cutSession } from '../../src/recording/edit.js';
import { exportGlb } from '../../src/recording/export-glb.js';
import { createFileWriter } from '../../src/recording/file-writer.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { createPlayer, type Player } from '../../src/recording/player.js';
import { startRecorder } from '../../src/recording/recorder.js';
import { createReplayLink, type ReplayLink } from '../../src/recording/replay-link.js';
import { openSession } from '../../src/recording/session.js';
import { createHandClock, type HandClock, silent, simulatedGloves, simulatedProfile } from './live-glove.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-session-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Every bit of what apps would see. */
function keep(into: string[], hand: string, frame: HandFrame): void {
  const { timeUs, valid, reason, fingerStates, poses, velocities, space } = frame;
  const bits = Buffer.concat([Buffer.from(poses.buffer), Buffer.from(velocities.buffer)]).toString('base64');
  into.push(`${hand} ${timeUs} ${valid} ${reason} ${fingerStates} ${bits} ${space}`);
}

test('what is recorded from the simulated glove gives the same joints, to the last bit', async () => {
  const clock = createHandClock();
  const profile = simulatedProfile(['left', 'right']);
  const gloves = simulatedGloves(profile, clock);
  const file = join(folder, 'first.mcap');
  const recorder = await startRecorder({ file, gloves, profile, logger: silent, version: '0', clock });
  const live: string[] = [];
  for (const glove of gloves) {
    glove.listen({ frame: (frame) => keep(live, glove.description.hand, frame) });
    glove.start();
  }
  await clock.runTo(clock.nowUs() + 3e6);
  recorder.mark('here');
  await recorder.stop();
  for (const glove of gloves) await glove.close();

  const session = openSession(file);
  const again: string[] = [];
  const hands = createOfflineHands(session, (hand, frame) => keep(again, hand, frame));
  session.visit(hands.visitor);
  expect(session.hands).toEqual(['left', 'right']);
  expect(live.length).toBeGreaterThan(1400);
  expect(again.length).toBe(live.length);
  expect(again.findIndex((line, i) => line !== live[i])).toBe(-1);
  expect(session.damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
  session.close();
});

test('a recording that begins late knows what was followed of slow shifts', async () => {
  const clock = createHandClock();
  const profile = simulatedProfile();
  const gloves = simulatedGloves(profile, clock);
  const [glove] = gloves;
  glove.start();
  await clock.runTo(clock.nowUs() + 20e6);
  glove.rezero('app');
  await clock.runTo(clock.nowUs() + 5e6);
  const file = join(folder, 'followed.mcap');
  const options = { file, gloves, profile, logger: silent, version: '0', clock, joints: true };
  const recorder = await startRecorder(options);
  await clock.runTo(clock.nowUs() + 20e6);
  await recorder.stop();
  await glove.close();

  const session = openSession(file);
  const drifts: unknown[] = [];
  session.visit({ status: (_hand, _timeUs, { drift }) => void (drift && drifts.push(drift)) });
  expect(drifts).toHaveLength(1);
  // Filters need a second; the rest is as it was, to a count of the converter.
  const [{ frames, maxDistanceMm, statesDiffer }] = compareSession(session, undefined, undefined, 2).hands;
  session.close();
  expect(frames).toBeGreaterThan(4000);
  expect(statesDiffer).toBe(0);
  expect(maxDistanceMm).toBeLessThan(0.3);
});

test('who begins in the middle, by a cut, a jump or a loop, knows what was followed before', async () => {
  const clock = createHandClock();
  const profile = simulatedProfile();
  const gloves = simulatedGloves(profile, clock);
  const [glove] = gloves;
  const file = join(folder, 'rezeroed.mcap');
  const part = join(folder, 'rezeroed-part.mcap');
  const options = { file, gloves, profile, logger: silent, version: '0', clock, joints: true };
  const recorder = await startRecorder(options);
  glove.start();
  await clock.runTo(clock.nowUs() + 5e6);
  glove.rezero('app');
  await clock.runTo(clock.nowUs() + 6e6);
  await recorder.stop();
  await glove.close();

  // Who jumps into the middle of it sees that hand, too, and in the second round the one of before.
  const asRecorded = validPoses(offline(file));
  const jumped = validPoses(await play(file, { fromS: 7 }, untilEnd));
  expect(jumped.length).toBeGreaterThan(700);
  expect(furthestMm(jumped.slice(-400), asRecorded.slice(-400))).toBeLessThan(0.3);
  const rounds = await play(file, { loop: true }, (clock) => clock.runTo(clock.nowUs() + 16e6));
  const second = validPoses(rounds).slice(asRecorded.length);
  expect(second.length).toBeGreaterThan(700);
  expect(furthestMm(second.slice(400, 700), asRecorded.slice(400, 700))).toBeLessThan(0.3);

  const whole = openSession(file);
  const out = createFileWriter(part);
  cutSession(whole, out, { fromS: 7, toS: 11 });
  out.end();
  whole.close();
  const session = openSession(part);
  const [{ frames, maxDistanceMm }] = compareSession(session, undefined, undefined, 2).hands;
  session.close();
  expect(frames).toBeGreaterThan(400);
  expect(maxDistanceMm).toBeLessThan(0.3);
});

const DAY = '2031-05-06T07:08:09.000Z';
const sensorFit = (open: number, closed: number): SavedFit => ({
  savedAt: DAY,
  person: 'Kim',
  glove: 'right glove',
  hand: 'right',
  channels: [{ role: 'index.curl', bits: 12, open, closed, residualDeg: 1, poses: 3 }],
  residualDeg: 1,
});

/** A session in which a fit counts, is replaced, an app knows where the wrist is for a while, and the hand is re-zeroed. */
async function recordEventful(file: string): Promise<string[]> {
  const clock = createHandClock();
  const profile = simulatedProfile();
  const fits = openFits(undefined, 'Kim');
  fits.add(sensorFit(900, 2800));
  const gloves = simulatedGloves(profile, clock, fits);
  const [glove] = gloves;
  const recorder = await startRecorder({
    file,
    gloves,
    profile,
    logger: silent,
    version: '0',
    clock,
    joints: true,
  });
  const live: string[] = [];
  glove.listen({ frame: (frame) => keep(live, 'right', frame) });
  glove.start();
  const runS = (s: number) => clock.runTo(clock.nowUs() + s * 1e6);
  await runS(1);
  // It moves, and the hand with it, between one pose and the next.
  for (let n = 0; n < 27; n++) {
    glove.track({
      type: 'tracker',
      hand: 'right',
      world: 'stage',
      position: [0.1 + 0.004 * n, 1.2, -0.3],
      orientation: [0, Math.sin(0.5 + 0.02 * n), 0, Math.cos(0.5 + 0.02 * n)],
      ttlMs: 300,
    });
    await runS(0.011);
  }
  await runS(0.4);
  fits.add(sensorFit(700, 3100));
  await glove.refit();
  await runS(0.6);
  glove.rezero('app');
  await runS(0.5);
  await recorder.stop();
  for (const one of gloves) await one.close();
  return live;
}

test('fits, trackers and re-zeroing come again: the same bits at any pace, and nothing to compare away', async () => {
  const file = join(folder, 'eventful.mcap');
  const live = await recordEventful(file);
  const spaces = new Set(live.map((line) => line.split(' ')[6]));
  expect(spaces).toEqual(new Set(['wrist', 'world']));
  expect(offline(file)).toEqual(live);
  for (const speed of [1, 20, Number.POSITIVE_INFINITY]) {
    const seen = await play(file, { speed }, untilEnd);
    expect(seen.filter((line) => !line.includes('has ended'))).toEqual(live);
  }
  const session = openSession(file);
  expect(session.damage.messages).toBe(0);
  const [hand] = compareSession(session).hands;
  expect(hand).toMatchObject({ maxDistanceMm: 0, maxAngleDeg: 0, unmatched: 0, statesDiffer: 0 });
  // As an animation, the hand goes through the world as it did.
  const glb = exportGlb(session, { fromS: 0, toS: 60 }, 'test');
  const { nodes } = JSON.parse(Buffer.from(glb).toString('utf8', 20, 20 + Buffer.from(glb).readUInt32LE(12)));
  const named = (name: string) => nodes.find((node: { name?: string }) => node.name === name);
  expect(named('right hand')).toMatchObject({
    translation: [0, 0, 0],
    extras: { space: 'world', world: 'stage' },
  });
  expect(named('wrist').translation[1]).toBeCloseTo(1.2, 3);
  // Without the fits the hand is another one.
  const [bare] = compareSession(session, { ...session.profile }).hands;
  expect(bare.maxDistanceMm).toBeGreaterThan(1);
  const { fits } = session.stateAt('right', session.endUs);
  expect(fits?.fits).toEqual([sensorFit(700, 3100)]);
  session.close();
});

test('a part that is cut out keeps the fit of its time; without names, the fit names nobody', async () => {
  const file = join(folder, 'eventful.mcap');
  const part = join(folder, 'part.mcap');
  const shared = join(folder, 'shared.mcap');
  if (!existsSync(file)) await recordEventful(file);
  const whole = openSession(file);
  const cut = createFileWriter(part);
  cutSession(whole, cut, { fromS: 2, toS: 2.6 });
  cut.end();
  whole.close();
  const session = openSession(part);
  expect(session.stateAt('right', session.startUs + 10_000).fits?.fits[0]).toEqual(sensorFit(700, 3100));
  expect(compareSession(session).hands[0].maxDistanceMm).toBeLessThan(1);
  const out = createFileWriter(shared);
  anonymiseSession(session, out);
  out.end();
  session.close();
  expect(readFileSync(shared).includes('Kim')).toBe(false);
  expect(readFileSync(shared).includes(DAY)).toBe(false);
  const anonymous = openSession(shared);
  expect(anonymous.stateAt('right', anonymous.endUs).fits?.fits).toHaveLength(1);
  anonymous.close();
});

test('a part that is cut out has the hand where the last word before it put it, for as long as that lived', async () => {
  const file = join(folder, 'placed.mcap');
  const clock = createHandClock();
  const profile = simulatedProfile();
  const gloves = simulatedGloves(profile, clock);
  const options = { file, gloves, profile, logger: silent, version: '0', clock, joints: true };
  const recorder = await startRecorder(options);
  const [glove] = gloves;
  glove.start();
  const runS = (s: number) => clock.runTo(clock.nowUs() + s * 1e6);
  await runS(1);
  // Said once, for three seconds.
  glove.track(
    {
      type: 'tracker',
      hand: 'right',
      world: 'localFloor',
      position: [0.1, 1.2, -0.3],
      orientation: [0, 0, 0, 1],
      ttlMs: 3000,
    },
    'app',
  );
  await runS(4);
  await recorder.stop();
  for (const one of gloves) await one.close();

  const whole = openSession(file);
  const part = join(folder, 'placed-part.mcap');
  const out = createFileWriter(part);
  cutSession(whole, out, { fromS: 2, toS: 5 });
  out.end();
  /** Until when, and how the hand is placed in the end. */
  const placed = (session: ReturnType<typeof openSession>, fromUs: number) => {
    let [frames, untilUs, last] = [0, 0, ''];
    const hands = createOfflineHands(session, (_, { timeUs, space, world }) => {
      if (timeUs < fromUs + 100_000) return;
      last = `${space} ${world}`;
      if (last !== 'world localFloor') return;
      frames++;
      untilUs = timeUs;
    });
    session.visit(hands.visitor);
    return { frames, untilUs, last };
  };
  const cut = openSession(part);
  const of = placed(cut, cut.startUs);
  const before = placed(whole, cut.startUs);
  expect(of.frames).toBeGreaterThan(150);
  expect(of.last).toBe('wrist undefined');
  expect(Math.abs(of.frames - before.frames)).toBeLessThan(3);
  expect(Math.abs(of.untilUs - before.untilUs)).toBeLessThan(10_000);
  cut.close();
  whole.close();
});

/** Of frames that `keep` kept. */
function validPoses(seen: readonly string[]): Float64Array[] {
  return seen
    .map((line) => line.split(' '))
    .filter(([, , valid]) => valid === 'true')
    .map(([, , , , , bits]) => {
      const bytes = new Uint8Array(Buffer.from(bits, 'base64'));
      return new Float64Array(bytes.buffer).subarray(0, JOINT_COUNT * POSE_STRIDE);
    });
}

/** The greatest distance between the joints of frames that belong together. */
function furthestMm(some: readonly Float64Array[], others: readonly Float64Array[]): number {
  let furthestM = 0;
  for (const [n, poses] of some.entries()) {
    for (let at = 0; at < poses.length; at += POSE_STRIDE) {
      const [x, y, z] = [0, 1, 2].map((k) => poses[at + k] - others[n][at + k]);
      furthestM = Math.max(furthestM, Math.hypot(x, y, z));
    }
  }
  return furthestM * 1000;
}

/** Plays the file into a chain of its own; returns every frame. */
async function play(
  file: string,
  options: { speed?: number; fromS?: number; toS?: number; loop?: boolean },
  drive: (clock: HandClock, player: Player) => Promise<void>,
): Promise<string[]> {
  const clock = createHandClock(77_000_000.5);
  const session = openSession(file);
  const links = new Map<HandSide, ReplayLink>();
  const seen: string[] = [];
  const gloves = session.profile.gloves.map((glove) => {
    const link = createReplayLink({ hand: glove.hand, name: file, frames: true });
    links.set(glove.hand, link);
    const chain = createGlove({ profile: session.profile, glove, link, logger: silent, clock });
    chain.listen({ frame: (frame) => keep(seen, glove.hand, frame) });
    chain.start();
    return chain;
  });
  const player = createPlayer({ session, links, clock, ...options });
  player.play();
  await drive(clock, player);
  player.close();
  for (const glove of gloves) await glove.close();
  session.close();
  return seen;
}

const untilEnd = async (clock: HandClock, player: Player): Promise<void> => {
  while (!player.state.ended) await clock.runTo(clock.nowUs() + 100_000);
};

let reference: string[] | undefined;

test.each([1, 20, Number.POSITIVE_INFINITY])('at %d times the pace, twice: the same bits', async (speed) => {
  const file = join(folder, 'pace.mcap');
  if (!existsSync(file)) await recordSimulated({ file, seconds: 4, rateHz: 250, hands: ['left', 'right'] });
  reference ??= offline(file);
  for (let run = 0; run < 2; run++) {
    const seen = await play(file, { speed }, untilEnd);
    // At the end of a replay apps are told that there is no hand any more.
    const frames = seen.filter((line) => !line.includes('has ended'));
    expect(frames.length).toBe(reference.length);
    for (const hand of ['left', 'right']) {
      expect(frames.filter((line) => line.startsWith(hand))).toEqual(
        reference.filter((line) => line.startsWith(hand)),
      );
    }
  }
});
function offline(file: string): string[] {
  const session = openSession(file);
  const seen: string[] = [];
  session.visit(createOfflineHands(session, (hand, frame) => keep(seen, hand, frame)).visitor);
  session.close();
  return seen;
}

/** All of a hand's valid poses but their times. */
const bitsOf = (seen: readonly string[], hand: string): string[] =>
  seen
    .map((line) => line.split(' '))
    .filter(([side, , valid]) => side === hand && valid === 'true')
    .map((parts) => parts.slice(2).join(' '));

const timesOf = (seen: string[], hand: string) =>
  seen.filter((line) => line.startsWith(hand)).map((line) => Number(line.split(' ')[1]));

test('a loop goes on in time, and a part begins where it was asked to', async () => {
  const file = join(folder, 'loop.mcap');
  await recordSimulated({ file, seconds: 3, rateHz: 250 });
  const seen = await play(file, { speed: 20, fromS: 1, toS: 2, loop: true }, async (clock, player) => {
    while (player.state.loops < 3) {
      await clock.runTo(clock.nowUs() + 10_000);
      expect(player.state.positionS).toBeGreaterThanOrEqual(1);
      expect(player.state.positionS).toBeLessThanOrEqual(2);
    }
  });
  const times = timesOf(seen, 'right');
  expect(times.length).toBeGreaterThan(740);
  for (let i = 1; i < times.length; i++) expect(times[i]).toBeGreaterThan(times[i - 1]);
  // Each round is one second, and a moment between rounds.
  expect(times[times.length - 1] - times[0]).toBeGreaterThan(2.9e6);
  expect(times[times.length - 1] - times[0]).toBeLessThan(3.4e6);
});

test('each round of a loop begins with a clean state: the poses are those of the first, to the last bit', async () => {
  const file = join(folder, 'rounds.mcap');
  await recordSimulated({ file, seconds: 4, rateHz: 250, hands: ['left', 'right'] });
  const first = offline(file);
  const seen = await play(file, { speed: 20, loop: true }, async (clock, player) => {
    while (player.state.loops < 3) await clock.runTo(clock.nowUs() + 10_000);
  });
  for (const hand of ['left', 'right']) {
    const poses = bitsOf(seen, hand);
    const ofOneRound = bitsOf(first, hand);
    expect(ofOneRound.length).toBeGreaterThan(900);
    for (let round = 0; round < 3; round++) {
      expect(poses.slice(round * ofOneRound.length, (round + 1) * ofOneRound.length)).toEqual(ofOneRound);
    }
  }
});

test('a session with faults loops without a difference, too: of loose plugs and cut cables nothing is left', async () => {
  const file = 'config/sessions/faults.mcap';
  const seen = await play(file, { speed: Number.POSITIVE_INFINITY, loop: true }, async (clock, player) => {
    while (player.state.loops < 2) await clock.runTo(clock.nowUs() + 1000);
  });
  const once = bitsOf(offline(file), 'right');
  expect(once.length).toBeGreaterThan(800);
  expect(bitsOf(seen, 'right').slice(0, 2 * once.length)).toEqual([...once, ...once]);
});

test('pause, seek forth and back, another speed: time goes on, poses are those of the place', async () => {
  const file = join(folder, 'seek.mcap');
  await recordSimulated({ file, seconds: 6, rateHz: 250 });
  const places: number[] = [];
  const seen = await play(file, {}, async (clock, player) => {
    const runS = (s: number) => clock.runTo(clock.nowUs() + s * 1e6);
    await runS(0.5);
    player.pause();
    const { positionS } = player.state;
    expect(positionS).toBeCloseTo(0.5, 1);
    await runS(1);
    expect(player.state.positionS).toBe(positionS);
    player.play();
    player.seek(4);
    await runS(0.3);
    places.push(player.state.positionS);
    player.seek(1);
    player.setSpeed(4);
    await runS(0.5);
    places.push(player.state.positionS);
  });
  expect(places[0]).toBeCloseTo(4.3, 1);
  expect(places[1]).toBeCloseTo(3, 1);
  const times = timesOf(seen, 'right');
  for (let i = 1; i < times.length; i++) expect(times[i]).toBeGreaterThan(times[i - 1]);
});

test('a recording that joins a running glove, and one whose glove fell silent, replay as they were', async () => {
  const clock = createHandClock();
  const profile = simulatedProfile();
  const gloves = simulatedGloves(profile, clock);
  const [glove] = gloves;
  glove.start();
  await clock.runTo(clock.nowUs() + 2e6);
  const file = join(folder, 'late.mcap');
  const recorder = await startRecorder({ file, gloves, profile, logger: silent, version: '0', clock });
  const live: string[] = [];
  glove.listen({ frame: ({ valid }) => void live.push(String(valid)) });
  await clock.runTo(clock.nowUs() + 1e6);
  await recorder.stop();
  await glove.close();
  const again = offline(file).map((line) => line.split(' ')[2]);
  expect(again.filter((valid) => valid === 'true').length).toBe(live.length);

  const silentFile = join(folder, 'silent.mcap');
  await recordSimulated({ file: silentFile, seconds: 3, rateHz: 250, mute: (s) => s > 1 && s < 1.6 });
  const valid = offline(silentFile).map((line) => line.split(' ')[2]);
  const gap = valid.indexOf('false');
  expect(gap).toBeGreaterThan(200);
  expect(valid.slice(gap + 1, -1)).not.toContain('false');
  const played = await play(silentFile, { speed: Number.POSITIVE_INFINITY }, untilEnd);
  expect(played.filter((line) => !line.includes('has ended'))).toEqual(offline(silentFile));
});
