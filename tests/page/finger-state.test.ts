import { describe, expect, it } from 'vitest';
import type { HandPose } from '../../src/client/pose.js';
import { FINGERS } from '../../src/hand/joints.js';
import { fingerConditions, isGuessed, stopOf } from '../../src/page/finger-state.js';
import type { LiveHand } from '../../src/page/live.js';

const STATES = { thumb: 'tracked', index: 'tracked', middle: 'inferred', ring: 'invalid', little: 'tracked' };

/** A hand of which only what the conditions depend on is told: all fingers bent half way. */
function hand(valid: boolean | undefined, resistance?: { armed: boolean; fingers: object }): LiveHand {
  const joints = valid === undefined ? undefined : ({ valid, fingers: STATES } as unknown as HandPose);
  return { joints, resistance, signals: { curls: [0.5, 0.5, 0.5, 0.5, 0.5] } } as unknown as LiveHand;
}
// Index and middle have closed as far as their stops; the little finger is free to go a long way to its own.
const HELD = { index: { stopAt: 0.4 }, middle: { stopAt: 0.54 }, little: { stopAt: 0.8 }, thumb: {} };

describe('the condition of a finger', () => {
  it('is what the pose says', () => {
    expect([...fingerConditions(hand(true))]).toEqual([
      'tracked',
      'tracked',
      'inferred',
      'invalid',
      'tracked',
    ]);
  });
  it('is held where it is at its stop, and only while armed; a stop that is set further on holds nothing', () => {
    const armed = hand(true, { armed: true, fingers: HELD });
    expect([...fingerConditions(armed)]).toEqual(['tracked', 'held', 'held', 'invalid', 'tracked']);
    expect(FINGERS.map((_, finger) => stopOf(armed, finger))).toEqual([undefined, 0.4, 0.54, undefined, 0.8]);
    const disarmed = hand(true, { armed: false, fingers: HELD });
    expect([...fingerConditions(disarmed)]).not.toContain('held');
    expect(stopOf(disarmed, 1)).toBeUndefined();
  });
  it('is unknown without a valid pose, whatever was held last', () => {
    for (const valid of [undefined, false]) {
      const seen = [...fingerConditions(hand(valid, { armed: true, fingers: HELD }))];
      expect(seen).toEqual(Array(5).fill('invalid'));
    }
  });
});

it.each([
  ['index.curl', 'intermittent', true, true],
  // Not believed before the fault has a name.
  ['index.curl', 'healthy', true, true],
  // The other sensor of a finger is well.
  ['index.splay', 'healthy', true, false],
  ['index.splay', 'dead', true, true],
  // A fault that leaves the value usable.
  ['index.curl', 'noisy', false, false],
])(
  '%s, %s, of a finger that is filled in: %s; its value is a guess: %s',
  (role, verdict, isInferred, guess) => {
    expect(isGuessed(role, verdict, isInferred)).toBe(guess);
  },
);
