import { expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { breakOften, type Moment, type WiperOutcome } from './wiper-trials.js';

/*
 * A wiper comes off while an app stops the fingers: the firmware's hand with its servos, in turned time. Many more, and
 * other conditions: npx tsx scripts/wiper.ts
 */

const everyFinger = async (moment: Moment, fault: string, rateHz?: number): Promise<WiperOutcome[]> =>
  (
    await Promise.all(
      FINGERS.map((_, finger) => breakOften({ moment, finger, fault }, 1, 40 + finger, rateHz)),
    )
  ).flat();
const most = (outcomes: readonly WiperOutcome[], of: (one: WiperOutcome) => number): number =>
  Math.max(...outcomes.map(of));

/** Nothing runs against a clock. */
const NO_CLOCK_MS = 600_000;

/** A finger gives by some hundredths as it comes to rest on its stop; a servo that pulls takes it tenths. */
const DRAWN = 0.05;

it(
  'with the pull-down, the finger is freed before the stop follows, and the channel named',
  async () => {
    for (const moment of ['pressing', 'beyond'] as const) {
      const outcomes = await everyFinger(moment, 'fault open 1000');
      expect(
        most(outcomes, (one) => one.inferredMs),
        moment,
      ).toBeLessThanOrEqual(100);
      expect(
        most(outcomes, (one) => one.freedMs),
        moment,
      ).toBeLessThanOrEqual(110);
      expect(
        most(outcomes, (one) => one.drag),
        moment,
      ).toBeLessThan(DRAWN);
      for (const { finger, verdict } of outcomes) expect(verdict, finger).toBe('railed');
    }
  },
  NO_CLOCK_MS,
);

it(
  'also at 100 samples a second',
  async () => {
    const outcomes = await everyFinger('beyond', 'fault open 1000', 100);
    expect(most(outcomes, (one) => one.freedMs)).toBeLessThanOrEqual(150);
    expect(most(outcomes, (one) => one.drag)).toBeLessThan(DRAWN);
  },
  NO_CLOCK_MS,
);

it(
  'without one, no stop is drawn in on a hand that has closed, or after a reading that creeps',
  async () => {
    for (const [moment, fault] of [
      ['before', 'fault floating 0'],
      ['between', 'fault floating 0'],
      ['beyond', 'fault floating 100'],
    ] as const) {
      const outcomes = await everyFinger(moment, fault);
      expect(
        most(outcomes, (one) => one.drag),
        `${moment}, ${fault}`,
      ).toBeLessThan(DRAWN);
    }
  },
  NO_CLOCK_MS,
);

it(
  'a contact that flaps is not held again for being called noise',
  async () => {
    const trial = { moment: 'beyond', finger: 4, fault: 'fault open 1000', flapMs: 20 } as const;
    const outcomes = await breakOften(trial, 2, 104);
    expect(most(outcomes, (one) => one.freedMs)).toBeLessThanOrEqual(200);
    expect(most(outcomes, (one) => one.drag)).toBeLessThan(DRAWN);
  },
  NO_CLOCK_MS,
);
