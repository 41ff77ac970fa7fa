import { statSync } from 'node:fs';
import { expect, test } from 'vitest';
import { JOINT_NAMES, POSE_STRIDE } from '../../src/hand/joints.js';
import { INFERRED } from '../../src/hand/validity.js';
import { visitFrames } from '../../src/recording/export-text.js';
import { describeSession } from '../../src/recording/info.js';
import { openSession } from '../../src/recording/session.js';

/** What the sessions in config/sessions are said to hold. */
function read(name: string) {
  const file = `config/sessions/${name}.mcap`;
  expect(statSync(file).size).toBeLessThan(300_000);
  const session = openSession(file);
  const info = describeSession(session);
  const states = new Set<string>();
  const rings: { atS: number; state: number; stepMm: number }[] = [];
  let poses = 0;
  let tip: number[] | undefined;
  visitFrames(session, (_hand, { valid, fingerStates, poses: joints }, atS) => {
    if (valid) poses++;
    states.add(fingerStates.join(''));
    const at = POSE_STRIDE * JOINT_NAMES.indexOf('ring-finger-tip');
    const now = [joints[at], joints[at + 1], joints[at + 2]];
    const before = tip ?? now;
    const stepMm = 1000 * Math.hypot(now[0] - before[0], now[1] - before[1], now[2] - before[2]);
    rings.push({ atS, state: fingerStates[3], stepMm });
    tip = now;
  });
  session.close();
  expect(info).toMatchObject({ complete: true, damage: { chunks: 0, bytes: 0, messages: 0 } });
  return { info, poses, states, rings };
}

test('everyday: two hands, every finger tracked', () => {
  const { info, poses, states } = read('everyday');
  expect(info.hands.map(({ hand }) => hand)).toEqual(['left', 'right']);
  expect(poses).toBe(info.hands[0].samples + info.hands[1].samples);
  expect([...states]).toEqual(['22222']);
  expect(info.marks.length).toBeGreaterThanOrEqual(3);
});

test('grasp: an app holds the fingers, twice', () => {
  const { info } = read('grasp');
  expect(info.hands[0].holds).toBe(2);
  expect(info.requests.find(({ type }) => type === 'resist')!.refused).toBe(0);
});

test.each(['everyday', 'grasp', 'faults'])(
  '%s: no fingertip, the thumb neither, is faster than a hand',
  (name) => {
    const tips = JOINT_NAMES.flatMap((joint, i) => (joint.endsWith('-tip') ? [i * POSE_STRIDE] : []));
    const before = new Map<string, { atS: number; places: number[][] }>();
    const fastest = tips.map(() => 0);
    const session = openSession(`config/sessions/${name}.mcap`);
    visitFrames(session, (hand, { valid, poses }, atS) => {
      const places = tips.map((at) => [...poses.subarray(at, at + 3)]);
      const last = before.get(hand);
      before.set(hand, { atS, places });
      // After a gap a pose is where the hand is by then.
      if (!valid || !last || atS - last.atS > 0.05) return;
      places.forEach(([x, y, z], i) => {
        const [px, py, pz] = last.places[i];
        fastest[i] = Math.max(fastest[i], Math.hypot(x - px, y - py, z - pz) / (atS - last.atS));
      });
    });
    session.close();
    // Its fingers close within half a second: 1 m/s at most. The thumb was at 1.4 to 2.4 m/s when it leapt to fingers.
    expect(fastest[0]).toBeLessThan(1.2);
    for (const speed of fastest) expect(speed).toBeLessThan(1.2);
  },
);

test('faults: each is told, and the hand is silent once', () => {
  const { info, states } = read('faults');
  const [hand] = info.hands;
  expect(hand.faults.map(({ role, verdict }) => `${role} ${verdict}`)).toEqual(
    expect.arrayContaining(['ring.curl intermittent', 'middle.curl railed']),
  );
  expect(hand.badCrc).toBeGreaterThanOrEqual(6);
  expect(hand.lost).toBeGreaterThanOrEqual(12);
  expect(hand.gapCount).toBe(1);
  expect(states).toContain('00000');
});

test('faults: the loose ring is inferred from its first break on, and does not jump', () => {
  const { info, rings } = read('faults');
  const looseS = info.marks.find(({ text }) => text.includes('loose'))!.atS;
  const mendedS = info.marks.find(({ text }) => text.includes('spool'))!.atS;
  const loose = rings.filter(({ atS }) => atS > looseS + 0.02 && atS < mendedS);
  expect(loose.length).toBeGreaterThan(200);
  for (const { atS, state } of loose) expect(state, `at ${atS} s`).toBe(INFERRED);
  // As fast as its fingers go in this session: a fist in half a second.
  expect(Math.max(...loose.map(({ stepMm }) => stepMm))).toBeLessThan(8);
});
