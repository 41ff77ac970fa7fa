import { describe, expect, it } from 'vitest';
import type { HandPose } from '../../src/client/pose.js';
import { fingerConditions } from '../../src/page/finger-state.js';
import type { LiveHand } from '../../src/page/live.js';

const STATES = { thumb: 'tracked', index: 'tracked', middle: 'inferred', ring: 'invalid', little: 'tracked' };

/** A hand of which only what the conditions depend on is told. */
function hand(valid: boolean | undefined, resistance?: { armed: boolean; fingers: object }): LiveHand {
  const joints = valid === undefined ? undefined : ({ valid, fingers: STATES } as unknown as HandPose);
  return { joints, resistance } as unknown as LiveHand;
}
const HELD = { index: { stopAt: 0.4, effort: 1 }, middle: { stopAt: 0.2, effort: 1 }, thumb: {} };

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
  it('is stopped where something holds it, and only while armed', () => {
    const stopped = fingerConditions(hand(true, { armed: true, fingers: HELD }));
    expect([...stopped]).toEqual(['tracked', 'stopped', 'stopped', 'invalid', 'tracked']);
    expect([...fingerConditions(hand(true, { armed: false, fingers: HELD }))]).not.toContain('stopped');
  });
  it('is unknown without a valid pose, whatever was held last', () => {
    for (const valid of [undefined, false]) {
      const seen = [...fingerConditions(hand(valid, { armed: true, fingers: HELD }))];
      expect(seen).toEqual(Array(5).fill('invalid'));
    }
  });
});
