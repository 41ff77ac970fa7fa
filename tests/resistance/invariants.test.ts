import { describe, expect, it } from 'vitest';
import { LIMITS, type LimitName } from '../../src/resistance/limits.js';
import { type Invariant, storm } from './storm.js';

/** The guards that hold up each invariant; without them it must fall. */
const HELD_UP_BY: Record<Exclude<Invariant, 'freeWithoutActuator'>, LimitName[]> = {
  freeWhenInvalid: ['invalidRequest'],
  // Guards on the stop replace what is not a number, so three stand behind it.
  finite: ['invalidRequest', 'rate', 'notBehindFinger'],
  disarmWins: ['disarmed'],
  // Shutting down disarms as well, so two guards stand behind it.
  shutdownIsForEver: ['shutdown', 'disarmed'],
  freeAfterClockJump: ['clockJump'],
  freeWhenLinkLost: ['linkLost'],
  freeWhenStale: ['stale'],
  freeWhenFaulty: ['faultyFinger'],
  freeAfterExpiry: ['expired'],
  stopNeverMovedBehindFinger: ['notBehindFinger'],
  noNearerToStuckFinger: ['unseen'],
  noNearerToCreepingFinger: ['unseen'],
  stopRate: ['rate'],
  tension: ['tension'],
  holdTime: ['hold'],
  heat: ['heat'],
  supply: ['supply'],
};

describe('the governor in a storm of five apps and every fault', () => {
  it('keeps every invariant over a million steps', () => {
    const verdict = storm({ steps: 1_000_000, seed: 1 });
    expect(Object.fromEntries(verdict.violations)).toEqual({});
    expect(verdict.steps).toBeGreaterThanOrEqual(1_000_000);
    // It holds fingers for much of the time: a governor that gives nothing would be safe and useless.
    expect(verdict.heldSteps).toBeGreaterThan(500_000);
  });

  it('has a test for every guard', () => {
    // noActuator only names the reason: no drive can be worked out for a finger without an actuator.
    expect(new Set([...Object.values(HELD_UP_BY).flat(), 'noActuator'])).toEqual(new Set(LIMITS));
  });

  it.each(Object.entries(HELD_UP_BY) as [Invariant, LimitName[]][])(
    '%s falls without %j',
    (invariant, without) => {
      const verdict = storm({ steps: 200_000, seed: 2, without, until: invariant });
      expect(verdict.violations.has(invariant)).toBe(true);
    },
  );

  it('stays shut down with either of the two guards behind it', () => {
    for (const without of ['shutdown', 'disarmed'] as const) {
      const verdict = storm({ steps: 25_000, seed: 3, without: [without] });
      expect(verdict.violations.has('shutdownIsForEver')).toBe(false);
    }
  });
});
