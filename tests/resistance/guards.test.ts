import { describe, expect, it } from 'vitest';
import type { ActuatorProfile } from '../../src/config/schema.js';
import { HOLD_SUSTAINED, REST_TO } from '../../src/resistance/finger-drive.js';
import { GUARDS, HOLD_DEPTH, STOP_CLEARANCE } from '../../src/resistance/guards.js';
import { LIMITS, type LimitName } from '../../src/resistance/limits.js';
import { GovernedHand, INDEX, STEP_US } from './governed-hand.js';
import { FIVE_SERVOS, SERVO_STALL_N, servo } from './profiles.js';

it('there is one guard for every limit, in the order of their names', () => {
  expect(GUARDS.map(({ name }) => name)).toEqual([...LIMITS]);
});

describe('what frees a finger', () => {
  const faults: [LimitName, (hand: GovernedHand) => void][] = [
    ['disarmed', (hand) => hand.governor.disarm(hand.nowUs, 'button')],
    ['shutdown', (hand) => hand.governor.shutdown(hand.nowUs)],
    ['clockJump', (hand) => hand.step(-1)],
    ['clockJump', (hand) => hand.step(200_001)],
    ['clockJump', (hand) => hand.step(Number.NaN)],
    [
      'linkLost',
      (hand) => {
        hand.inputs.linkLive = false;
      },
    ],
    [
      'stale',
      (hand) => {
        hand.inputs.sampleAgeUs = 100_001;
      },
    ],
    [
      'stale',
      (hand) => {
        hand.inputs.sampleAgeUs = -100_001;
      },
    ],
    [
      'stale',
      (hand) => {
        hand.inputs.sampleAgeUs = Number.NaN;
      },
    ],
    [
      'expired',
      (hand) => {
        hand.inputs.expiresUs[INDEX] = hand.nowUs + STEP_US;
      },
    ],
    [
      'expired',
      (hand) => {
        hand.inputs.expiresUs[INDEX] = Number.NaN;
      },
    ],
    [
      'faultyFinger',
      (hand) => {
        hand.inputs.healthy[INDEX] = 0;
      },
    ],
    [
      'faultyFinger',
      (hand) => {
        hand.curl(Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (hand) => {
        hand.ask(Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (hand) => {
        hand.ask(Number.NEGATIVE_INFINITY);
      },
    ],
    [
      'invalidRequest',
      (hand) => {
        hand.ask(0.5, Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (hand) => {
        hand.ask(0.5, -0.1);
      },
    ],
    [
      'invalidRequest',
      (hand) => {
        hand.ask(0.5, Number.POSITIVE_INFINITY);
      },
    ],
  ];

  it.each(faults)('%s (%#)', (reason, cause) => {
    const hand = new GovernedHand().run(0.2);
    expect(hand.held).toBe(true);
    hand.events();
    cause(hand);
    // A step with a bad clock shows in that step; everything else in the next one.
    if (reason !== 'clockJump') hand.step();
    expect(hand.held).toBe(false);
    expect([hand.stop, hand.effort, hand.governor.outputs.tensionsN[INDEX]]).toEqual([1, 0, 0]);
    expect(hand.governor.outputs.anyHeld).toBe(false);
    expect(hand.limits).toContain(reason);
    expect(hand.events().map((event) => event.reason)).toContain(reason);
  });

  it('a finger that no actuator holds', () => {
    const hand = new GovernedHand([servo('thumb'), servo('index', { kind: 'vibration' })]).run(0.2);
    expect([hand.held, hand.limits]).toEqual([false, ['noActuator']]);
  });

  it('only the faulty finger, not its neighbours', () => {
    const hand = new GovernedHand().ask(0.5, 1, 2).run(0.2);
    hand.inputs.healthy[INDEX] = 0;
    hand.step();
    expect([...hand.governor.outputs.held]).toEqual([0, 0, 1, 0, 0]);
  });

  it('nothing is reported where nothing is asked', () => {
    const hand = new GovernedHand().ask(1, 0);
    hand.inputs.linkLive = false;
    hand.events();
    hand.run(0.1);
    expect([hand.limits, hand.events()]).toEqual([[], []]);
  });
});

describe('where a stop may be', () => {
  it('approaches no faster than permitted and leaves at once', () => {
    const hand = new GovernedHand();
    hand.step();
    const first = hand.stop;
    hand.step(10_000);
    expect(first - hand.stop).toBeCloseTo(10 * 0.01, 9);
    expect(hand.limits).toEqual(['rate']);
    hand.run(0.1);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
    hand.ask(0.9).step();
    expect([hand.stop, hand.limits]).toEqual([0.9, []]);
  });

  it('stays clear of a finger that is past the surface', () => {
    const hand = new GovernedHand().curl(0.7).run(0.3);
    expect(hand.stop).toBeCloseTo(0.7 + STOP_CLEARANCE, 9);
    expect(hand.limits).toEqual(['notBehindFinger']);
    // As the finger opens, the stop follows to where it was asked for.
    hand.curl(0.4).run(0.3);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });

  it('keeps clear of a finger just before the surface, without a word', () => {
    const hand = new GovernedHand().curl(0.495).run(0.3);
    expect(hand.stop).toBeCloseTo(0.495 + STOP_CLEARANCE, 9);
    expect(hand.limits).toEqual([]);
  });

  it('holds against a finger that presses, and gives way to one that breaks through', () => {
    const hand = new GovernedHand().curl(0.4).run(0.3);
    hand.curl(0.5 + HOLD_DEPTH - 0.01).run(0.1);
    expect(hand.stop).toBe(0.5);
    hand.curl(0.9).run(0.1);
    expect(hand.stop).toBeCloseTo(0.9 - HOLD_DEPTH, 9);
  });

  it('is not ratcheted backwards by the noise of the sensor', () => {
    const hand = new GovernedHand().ask(0).curl(0.6).run(0.3);
    const stop = hand.stop;
    for (let n = 0; n < 5000; n++) hand.curl(0.6 + (n % 2 ? 0.009 : -0.009)).step();
    expect(stop - hand.stop).toBeLessThanOrEqual(0.01);
    expect(hand.stop).toBeGreaterThan(0.6);
  });

  it('may pull where the profile says so', () => {
    const hand = new GovernedHand(FIVE_SERVOS, { allowPull: true }).curl(0.7).run(0.3);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });

  it('may be behind the finger for a brake, which cannot pull', () => {
    const hand = new GovernedHand([servo('index', { kind: 'brake' })]).curl(0.7).run(0.3);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });
});

describe('how hard', () => {
  it('effort 1 is the tension cap', () => {
    const hand = new GovernedHand().run(0.2);
    const { outputs } = hand.governor;
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
    expect(outputs.drives[INDEX]).toBeCloseTo(8 / SERVO_STALL_N, 9);
    hand.ask(0.5, 0.25).step();
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(2, 9);
    hand.ask(0.5, 3).step();
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
    expect(hand.limits).toEqual(['tension']);
  });

  it('effort 1 is what the actuator can do when that is less', () => {
    const hand = new GovernedHand([servo('index', { stallTorqueNm: 0.03 })]).run(0.2);
    expect(hand.governor.outputs.tensionsN[INDEX]).toBeCloseTo(3, 9);
  });

  it('adds up the strengths of two servos on one finger', () => {
    const hand = new GovernedHand([
      servo('index', { stallTorqueNm: 0.03 }),
      servo('index', { stallTorqueNm: 0.08 }),
    ]).run(0.2);
    expect(hand.governor.outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
  });

  it('shares the supply in proportion', () => {
    const hand = new GovernedHand(FIVE_SERVOS, { maxTensionN: 15 });
    for (let finger = 0; finger < 5; finger++) hand.ask(0.5, finger === 0 ? 0.5 : 1, finger);
    hand.run(0.2);
    const { drives } = hand.governor.outputs;
    // 4.5 × 0.7 A are asked for, 2.5 A are there.
    expect(drives[1]).toBeCloseTo(2.5 / (4.5 * 0.7), 9);
    expect(drives[0]).toBeCloseTo(drives[1] / 2, 9);
    expect(hand.limits).toEqual(['supply']);
    hand.inputs.pulseCurrentA = 0.5;
    hand.step();
    expect(drives[1]).toBeCloseTo(2 / (4.5 * 0.7), 9);
  });
});

describe('how long', () => {
  /** Presses the index finger against its stop. */
  const pressing = (actuator: Partial<ActuatorProfile> = {}) => {
    const hand = new GovernedHand([servo('index', actuator)]).curl(0.4).run(0.2);
    return hand.curl(0.51);
  };

  it('full effort lasts maxHoldS, then fades smoothly to what may be held forever', () => {
    const hand = pressing().run(9.9);
    expect([hand.effort, hand.limits]).toEqual([1, []]);
    let largestDrop = 0;
    for (let n = 0; n < 1000; n++) {
      const before = hand.effort;
      hand.step();
      largestDrop = Math.max(largestDrop, before - hand.effort);
    }
    expect(largestDrop).toBeLessThan(0.002);
    expect(hand.effort).toBeCloseTo(HOLD_SUSTAINED, 3);
    expect(hand.limits).toEqual(['hold']);
    hand.run(60);
    expect(hand.effort).toBeCloseTo(HOLD_SUSTAINED, 3);
  });

  it('a stop that the finger does not reach uses up nothing', () => {
    const hand = new GovernedHand().curl(0.2).run(30);
    expect([hand.effort, hand.governor.outputs.heats[INDEX]]).toEqual([1, 0]);
  });

  it('letting go gives the time back', () => {
    const hand = pressing().run(15).curl(0.2).run(12.1).curl(0.51).run(1);
    expect(hand.effort).toBe(1);
  });

  it('warms as a first-order body and cools with its time constant', () => {
    // Weaker than the cap: full effort is full drive, which reaches the fade (0.8) in maxHoldS.
    const hand = pressing({ stallTorqueNm: 0.08 }).run(10);
    const warm = hand.governor.outputs.heats[INDEX];
    expect(warm).toBeCloseTo(0.8, 2);
    hand.ask(1, 0).step().run(30);
    expect(hand.governor.outputs.heats[INDEX] / warm).toBeCloseTo(Math.exp(-1), 2);
  });

  it('fades for heat when short holds come too often', () => {
    const hand = pressing({ stallTorqueNm: 0.08 });
    let leastEffort = 1;
    let mostHeat = 0;
    for (let cycle = 0; cycle < 10; cycle++) {
      hand.curl(0.51).run(9);
      leastEffort = Math.min(leastEffort, hand.effort);
      mostHeat = Math.max(mostHeat, hand.governor.outputs.heats[INDEX]);
      if (hand.effort < 1) expect(hand.limits).toContain('heat');
      hand.curl(0.2).run(9);
    }
    expect(leastEffort).toBeLessThan(0.95);
    expect(mostHeat).toBeLessThanOrEqual(1);
  });

  it('counts pulses as heat', () => {
    const hand = new GovernedHand().ask(1, 0);
    hand.inputs.pulseDrives[INDEX] = 1;
    hand.run(5);
    expect(hand.governor.outputs.heats[INDEX]).toBeGreaterThan(0.4);
  });
});

describe('a hobby servo, which holds with all it has whatever the effort', () => {
  const hobby = (other: Partial<ActuatorProfile> = {}) =>
    new GovernedHand(
      FIVE_SERVOS.map(({ role }) => servo(role, { torqueControl: false, spoolRadiusMm: 20, ...other })),
    );

  it('is told and reckoned with as it is, not as it was asked', () => {
    const hand = hobby().ask(0.5, 0.3).run(0.2);
    expect(hand.held).toBe(true);
    expect(hand.effort).toBe(1);
    // 0.15 N·m over 20 mm.
    expect(hand.governor.outputs.tensionsN[INDEX]).toBeCloseTo(7.5, 9);
    expect(hand.limits).toEqual([]);
  });

  it('stays free where its stall exceeds the tension cap', () => {
    const hand = hobby({ spoolRadiusMm: 10 }).run(0.1);
    expect(hand.held).toBe(false);
    expect(hand.limits).toContain('tension');
    expect(hand.governor.outputs.tensionsN[INDEX]).toBe(0);
    expect(hand.events().filter(({ reason }) => reason === 'tension')).toHaveLength(1);
  });

  it('lets go when the hold time is over, and holds again when it has rested, not before', () => {
    const hand = hobby({ maxHoldS: 2, coolS: 600 }).curl(0.5).run(1.9);
    expect(hand.held).toBe(true);
    hand.run(0.2);
    expect(hand.held).toBe(false);
    // Hold time comes back as fast as it was used.
    hand.run(2 * (1 - REST_TO) - 0.2);
    expect(hand.held).toBe(false);
    const { heats } = hand.governor.outputs;
    hand.run(0.4);
    // Warm from the hold: the heat decides when it may hold again.
    expect(hand.held).toBe(heats[INDEX] <= REST_TO * 0.8);
    expect(hand.held || hand.limits.includes('heat')).toBe(true);
  });

  it('lets go when it is warm, and stays free until it has cooled', () => {
    const hand = hobby({ maxHoldS: 600, coolS: 2 });
    // Warmth from pulses alone: the hold time is not touched.
    hand.inputs.pulseDrives[INDEX] = 2;
    hand.curl(0.1).run(600);
    expect(hand.held).toBe(false);
    expect(hand.limits).toContain('heat');
    hand.inputs.pulseDrives[INDEX] = 0;
    hand.run(0.05);
    expect(hand.held).toBe(false);
    hand.run(20);
    expect(hand.held).toBe(true);
  });

  it('is let go when the supply cannot feed all: the least firmly asked for first, and steadily', () => {
    const hand = hobby();
    for (const [finger, effort] of [0.9, 0.2, 0.8, 0.5, 1].entries()) hand.ask(0.5, effort, finger);
    const held: string[] = [];
    for (let n = 0; n < 50; n++) held.push([...hand.step().governor.outputs.held].join(''));
    // 2.5 A feed three servos of 0.7 A.
    expect(new Set(held)).toEqual(new Set(['10101']));
    expect(hand.limits).toContain('supply');
  });

  it('does not starve the drives beside it that heed the effort', () => {
    const hand = new GovernedHand(
      FIVE_SERVOS.map(({ role }, n) => servo(role, { torqueControl: n > 1, spoolRadiusMm: 20 })),
    );
    for (let finger = 0; finger < 5; finger++) hand.ask(0.5, 1, finger);
    const { held, drives } = hand.step().governor.outputs;
    expect([...held]).toEqual([1, 1, 1, 1, 1]);
    const currentA = drives.reduce((sum, drive) => sum + drive * 0.7, 0);
    expect(currentA).toBeCloseTo(2.5, 9);
    expect(drives[0]).toBe(1);
  });
});
