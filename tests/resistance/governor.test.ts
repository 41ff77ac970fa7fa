import { describe, expect, it } from 'vitest';
import { fingerDrivesOf } from '../../src/resistance/actuators.js';
import { Governor, REARM_PAUSE_US } from '../../src/resistance/governor.js';
import { GovernedHand, INDEX } from './governed-hand.js';
import { FIVE_SERVOS, SAFETY } from './profiles.js';

describe('the latch', () => {
  it('is disarmed at the start', () => {
    const governor = new Governor(fingerDrivesOf(FIVE_SERVOS), SAFETY);
    expect(governor.armed).toBe(false);
    expect(governor.reason).toMatch(/not armed/i);
  });

  it('frees in the call itself, keeps the reason, and stays', () => {
    const hand = new GovernedHand().run(0.2);
    hand.governor.disarm(hand.nowUs, 'glove button');
    expect(hand.held).toBe(false);
    expect(hand.governor.reason).toBe('glove button');
    hand.run(2);
    expect([hand.held, hand.limits]).toEqual([false, ['disarmed']]);
  });

  it('refuses an arm that was under way when the wearer disarmed', () => {
    const hand = new GovernedHand().run(0.2);
    hand.governor.disarm(hand.nowUs, 'wearer');
    expect(hand.governor.arm(hand.nowUs, 'app')).toBe(false);
    expect(hand.governor.arm(hand.nowUs + REARM_PAUSE_US - 1, 'app')).toBe(false);
    expect(hand.governor.arm(Number.NaN, 'app')).toBe(false);
    expect(hand.governor.reason).toBe('wearer');
    expect(hand.governor.arm(hand.nowUs + REARM_PAUSE_US, 'wearer again')).toBe(true);
  });

  it('never arms after shutdown', () => {
    const hand = new GovernedHand().run(0.2);
    hand.governor.shutdown(hand.nowUs);
    expect(hand.governor.arm(hand.nowUs + 1e9, 'app')).toBe(false);
    expect(hand.governor.armed).toBe(false);
  });

  it('starts stops from afar again after arming', () => {
    const hand = new GovernedHand().run(0.2);
    hand.governor.disarm(hand.nowUs, 'wearer');
    hand.run(0.3);
    hand.governor.arm(hand.nowUs, 'wearer');
    hand.step();
    expect(hand.stop).toBeCloseTo(1 - 10 * 0.004, 9);
  });
});

describe('reports', () => {
  it('tells each intervention once while it lasts, and again when it comes back', () => {
    const hand = new GovernedHand().run(0.2);
    hand.events();
    hand.inputs.healthy[INDEX] = 0;
    hand.run(1);
    expect(hand.events()).toEqual([{ finger: INDEX, reason: 'faultyFinger', asked: 1, given: 0 }]);
    hand.inputs.healthy[INDEX] = 1;
    hand.run(0.5);
    hand.events();
    hand.inputs.healthy[INDEX] = 0;
    hand.step();
    expect(hand.events()).toHaveLength(1);
  });

  it('tells where a stop was asked and where it is', () => {
    const hand = new GovernedHand().curl(0.7);
    hand.events();
    hand.run(0.3);
    const [event] = hand.events().filter(({ reason }) => reason === 'notBehindFinger');
    expect(event.finger).toBe(INDEX);
    expect(event.asked).toBeLessThan(event.given);
    expect(event.given).toBeCloseTo(0.72, 9);
  });

  it('overwrites the oldest when nobody reads, and counts them', () => {
    const hand = new GovernedHand();
    for (let n = 0; n < 200; n++) hand.governor.disarm(n, 'again');
    // One arm and 200 disarms into a ring of 128.
    expect(hand.governor.events.overwritten).toBe(73);
    expect(hand.events()).toHaveLength(128);
    expect(hand.governor.events.size).toBe(0);
  });
});
