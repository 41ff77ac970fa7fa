import { statSync } from 'node:fs';
import { expect, test } from 'vitest';
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
  let poses = 0;
  visitFrames(session, (_hand, { valid, fingerStates }) => {
    if (valid) poses++;
    states.add(fingerStates.join(''));
  });
  session.close();
  expect(info).toMatchObject({ complete: true, damage: { chunks: 0, bytes: 0, messages: 0 } });
  return { info, poses, states };
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
