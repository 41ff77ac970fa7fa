import { describe, expect, it } from 'vitest';
import type { ActuatorProfile, SafetyProfile } from '../../src/config/schema.js';
import { lanesOf } from '../../src/resistance/actuators.js';
import {
  Governor,
  type GovernorInputs,
  HOLD_DEPTH,
  HOLD_SUSTAINED,
  REARM_PAUSE_US,
  REST_TO,
  STOP_CLEARANCE,
} from '../../src/resistance/governor.js';
import { LIMIT_BIT, LIMIT_TEXT, LIMITS, type LimitName, limitNames } from '../../src/resistance/limits.js';
import { FIVE_SERVOS, SAFETY, SERVO_STALL_N, servo } from './profiles.js';

const INDEX = 1;
const STEP_US = 4000;

/** A governor of one hand whose index finger is asked for a stop; the test changes what it wants to. */
class Rig {
  nowUs = 1_000_000;
  readonly inputs: GovernorInputs = {
    stops: new Float64Array(5).fill(1),
    efforts: new Float64Array(5),
    expiresUs: new Float64Array(5).fill(Number.POSITIVE_INFINITY),
    curls: new Float64Array(5).fill(0.2),
    healthy: new Uint8Array(5).fill(1),
    pulseDrives: new Float64Array(5),
    pulseCurrentA: 0,
    sampleAgeUs: 0,
    linkLive: true,
  };
  readonly governor: Governor;

  constructor(actuators: ActuatorProfile[] = FIVE_SERVOS, safety: Partial<SafetyProfile> = {}) {
    this.governor = new Governor(lanesOf(actuators), { ...SAFETY, ...safety });
    this.governor.arm(0, 'wearer');
    this.ask(0.5);
  }

  ask(stop: number, effort = 1, finger = INDEX): this {
    this.inputs.stops[finger] = stop;
    this.inputs.efforts[finger] = effort;
    return this;
  }
  curl(curl: number): this {
    this.inputs.curls[INDEX] = curl;
    return this;
  }
  step(passUs = STEP_US): this {
    this.nowUs += passUs;
    this.governor.step(this.nowUs, this.inputs);
    return this;
  }
  run(seconds: number): this {
    for (let n = Math.round((seconds * 1e6) / STEP_US); n > 0; n--) this.step();
    return this;
  }
  get held() {
    return this.governor.outputs.held[INDEX] === 1;
  }
  get stop() {
    return this.governor.outputs.stops[INDEX];
  }
  get effort() {
    return this.governor.outputs.efforts[INDEX];
  }
  get limits() {
    return limitNames(this.governor.outputs.limits[INDEX]);
  }
  events() {
    const events: { finger: number; reason: string; asked: number; given: number }[] = [];
    this.governor.events.drain((_timeUs, finger, reason, asked, given) =>
      events.push({ finger, reason, asked, given }),
    );
    return events;
  }
}

describe('what frees a finger', () => {
  const faults: [LimitName, (rig: Rig) => void][] = [
    ['disarmed', (rig) => rig.governor.disarm(rig.nowUs, 'button')],
    ['shutdown', (rig) => rig.governor.shutdown(rig.nowUs)],
    ['clockJump', (rig) => rig.step(-1)],
    ['clockJump', (rig) => rig.step(200_001)],
    ['clockJump', (rig) => rig.step(Number.NaN)],
    [
      'linkLost',
      (rig) => {
        rig.inputs.linkLive = false;
      },
    ],
    [
      'stale',
      (rig) => {
        rig.inputs.sampleAgeUs = 100_001;
      },
    ],
    [
      'stale',
      (rig) => {
        rig.inputs.sampleAgeUs = -100_001;
      },
    ],
    [
      'stale',
      (rig) => {
        rig.inputs.sampleAgeUs = Number.NaN;
      },
    ],
    [
      'expired',
      (rig) => {
        rig.inputs.expiresUs[INDEX] = rig.nowUs + STEP_US;
      },
    ],
    [
      'expired',
      (rig) => {
        rig.inputs.expiresUs[INDEX] = Number.NaN;
      },
    ],
    [
      'faultyFinger',
      (rig) => {
        rig.inputs.healthy[INDEX] = 0;
      },
    ],
    [
      'faultyFinger',
      (rig) => {
        rig.curl(Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (rig) => {
        rig.ask(Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (rig) => {
        rig.ask(Number.NEGATIVE_INFINITY);
      },
    ],
    [
      'invalidRequest',
      (rig) => {
        rig.ask(0.5, Number.NaN);
      },
    ],
    [
      'invalidRequest',
      (rig) => {
        rig.ask(0.5, -0.1);
      },
    ],
    [
      'invalidRequest',
      (rig) => {
        rig.ask(0.5, Number.POSITIVE_INFINITY);
      },
    ],
  ];

  it.each(faults)('%s (%#)', (reason, cause) => {
    const rig = new Rig().run(0.2);
    expect(rig.held).toBe(true);
    rig.events();
    cause(rig);
    // A step with a bad clock shows in that step; everything else in the next one.
    if (reason !== 'clockJump') rig.step();
    expect(rig.held).toBe(false);
    expect([rig.stop, rig.effort, rig.governor.outputs.tensionsN[INDEX]]).toEqual([1, 0, 0]);
    expect(rig.governor.outputs.anyHeld).toBe(false);
    expect(rig.limits).toContain(reason);
    expect(rig.events().map((event) => event.reason)).toContain(reason);
  });

  it('a finger that no actuator holds', () => {
    const rig = new Rig([servo('thumb'), servo('index', { kind: 'vibration' })]).run(0.2);
    expect([rig.held, rig.limits]).toEqual([false, ['noActuator']]);
  });

  it('only the faulty finger, not its neighbours', () => {
    const rig = new Rig().ask(0.5, 1, 2).run(0.2);
    rig.inputs.healthy[INDEX] = 0;
    rig.step();
    expect([...rig.governor.outputs.held]).toEqual([0, 0, 1, 0, 0]);
  });

  it('nothing is reported where nothing is asked', () => {
    const rig = new Rig().ask(1, 0);
    rig.inputs.linkLive = false;
    rig.events();
    rig.run(0.1);
    expect([rig.limits, rig.events()]).toEqual([[], []]);
  });
});

describe('the latch', () => {
  it('is disarmed at the start', () => {
    const governor = new Governor(lanesOf(FIVE_SERVOS), SAFETY);
    expect(governor.armed).toBe(false);
    expect(governor.reason).toMatch(/not armed/i);
  });

  it('frees in the call itself, keeps the reason, and stays', () => {
    const rig = new Rig().run(0.2);
    rig.governor.disarm(rig.nowUs, 'glove button');
    expect(rig.held).toBe(false);
    expect(rig.governor.reason).toBe('glove button');
    rig.run(2);
    expect([rig.held, rig.limits]).toEqual([false, ['disarmed']]);
  });

  it('refuses an arm that was under way when the wearer disarmed', () => {
    const rig = new Rig().run(0.2);
    rig.governor.disarm(rig.nowUs, 'wearer');
    expect(rig.governor.arm(rig.nowUs, 'app')).toBe(false);
    expect(rig.governor.arm(rig.nowUs + REARM_PAUSE_US - 1, 'app')).toBe(false);
    expect(rig.governor.arm(Number.NaN, 'app')).toBe(false);
    expect(rig.governor.reason).toBe('wearer');
    expect(rig.governor.arm(rig.nowUs + REARM_PAUSE_US, 'wearer again')).toBe(true);
  });

  it('never arms after shutdown', () => {
    const rig = new Rig().run(0.2);
    rig.governor.shutdown(rig.nowUs);
    expect(rig.governor.arm(rig.nowUs + 1e9, 'app')).toBe(false);
    expect(rig.governor.armed).toBe(false);
  });

  it('starts stops from afar again after arming', () => {
    const rig = new Rig().run(0.2);
    rig.governor.disarm(rig.nowUs, 'wearer');
    rig.run(0.3);
    rig.governor.arm(rig.nowUs, 'wearer');
    rig.step();
    expect(rig.stop).toBeCloseTo(1 - 10 * 0.004, 9);
  });
});

describe('where a stop may be', () => {
  it('approaches no faster than permitted and leaves at once', () => {
    const rig = new Rig();
    rig.step();
    const first = rig.stop;
    rig.step(10_000);
    expect(first - rig.stop).toBeCloseTo(10 * 0.01, 9);
    expect(rig.limits).toEqual(['rate']);
    rig.run(0.1);
    expect([rig.stop, rig.limits]).toEqual([0.5, []]);
    rig.ask(0.9).step();
    expect([rig.stop, rig.limits]).toEqual([0.9, []]);
  });

  it('stays clear of a finger that is past the surface', () => {
    const rig = new Rig().curl(0.7).run(0.3);
    expect(rig.stop).toBeCloseTo(0.7 + STOP_CLEARANCE, 9);
    expect(rig.limits).toEqual(['notBehindFinger']);
    // As the finger opens, the stop follows to where it was asked for.
    rig.curl(0.4).run(0.3);
    expect([rig.stop, rig.limits]).toEqual([0.5, []]);
  });

  it('keeps clear of a finger just before the surface, without a word', () => {
    const rig = new Rig().curl(0.495).run(0.3);
    expect(rig.stop).toBeCloseTo(0.495 + STOP_CLEARANCE, 9);
    expect(rig.limits).toEqual([]);
  });

  it('holds against a finger that presses, and gives way to one that breaks through', () => {
    const rig = new Rig().curl(0.4).run(0.3);
    rig.curl(0.5 + HOLD_DEPTH - 0.01).run(0.1);
    expect(rig.stop).toBe(0.5);
    rig.curl(0.9).run(0.1);
    expect(rig.stop).toBeCloseTo(0.9 - HOLD_DEPTH, 9);
  });

  it('is not ratcheted backwards by the noise of the sensor', () => {
    const rig = new Rig().ask(0).curl(0.6).run(0.3);
    const stop = rig.stop;
    for (let n = 0; n < 5000; n++) rig.curl(0.6 + (n % 2 ? 0.009 : -0.009)).step();
    expect(stop - rig.stop).toBeLessThanOrEqual(0.01);
    expect(rig.stop).toBeGreaterThan(0.6);
  });

  it('may pull where the profile says so', () => {
    const rig = new Rig(FIVE_SERVOS, { allowPull: true }).curl(0.7).run(0.3);
    expect([rig.stop, rig.limits]).toEqual([0.5, []]);
  });

  it('may be behind the finger for a brake, which cannot pull', () => {
    const rig = new Rig([servo('index', { kind: 'brake' })]).curl(0.7).run(0.3);
    expect([rig.stop, rig.limits]).toEqual([0.5, []]);
  });
});

describe('how hard', () => {
  it('effort 1 is the tension cap', () => {
    const rig = new Rig().run(0.2);
    const { outputs } = rig.governor;
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
    expect(outputs.drives[INDEX]).toBeCloseTo(8 / SERVO_STALL_N, 9);
    rig.ask(0.5, 0.25).step();
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(2, 9);
    rig.ask(0.5, 3).step();
    expect(outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
    expect(rig.limits).toEqual(['tension']);
  });

  it('effort 1 is what the actuator can do when that is less', () => {
    const rig = new Rig([servo('index', { stallTorqueNm: 0.03 })]).run(0.2);
    expect(rig.governor.outputs.tensionsN[INDEX]).toBeCloseTo(3, 9);
  });

  it('adds up the strengths of two servos on one finger', () => {
    const rig = new Rig([
      servo('index', { stallTorqueNm: 0.03 }),
      servo('index', { stallTorqueNm: 0.08 }),
    ]).run(0.2);
    expect(rig.governor.outputs.tensionsN[INDEX]).toBeCloseTo(8, 9);
  });

  it('shares the supply in proportion', () => {
    const rig = new Rig(FIVE_SERVOS, { maxTensionN: 15 });
    for (let finger = 0; finger < 5; finger++) rig.ask(0.5, finger === 0 ? 0.5 : 1, finger);
    rig.run(0.2);
    const { drives } = rig.governor.outputs;
    // 4.5 × 0.7 A are asked for, 2.5 A are there.
    expect(drives[1]).toBeCloseTo(2.5 / (4.5 * 0.7), 9);
    expect(drives[0]).toBeCloseTo(drives[1] / 2, 9);
    expect(rig.limits).toEqual(['supply']);
    rig.inputs.pulseCurrentA = 0.5;
    rig.step();
    expect(drives[1]).toBeCloseTo(2 / (4.5 * 0.7), 9);
  });
});

describe('how long', () => {
  /** Presses the index finger against its stop. */
  const pressing = (actuator: Partial<ActuatorProfile> = {}) => {
    const rig = new Rig([servo('index', actuator)]).curl(0.4).run(0.2);
    return rig.curl(0.51);
  };

  it('full effort lasts maxHoldS, then fades smoothly to what may be held for ever', () => {
    const rig = pressing().run(9.9);
    expect([rig.effort, rig.limits]).toEqual([1, []]);
    let largestDrop = 0;
    for (let n = 0; n < 1000; n++) {
      const before = rig.effort;
      rig.step();
      largestDrop = Math.max(largestDrop, before - rig.effort);
    }
    expect(largestDrop).toBeLessThan(0.002);
    expect(rig.effort).toBeCloseTo(HOLD_SUSTAINED, 3);
    expect(rig.limits).toEqual(['hold']);
    rig.run(60);
    expect(rig.effort).toBeCloseTo(HOLD_SUSTAINED, 3);
  });

  it('a stop that the finger does not reach uses up nothing', () => {
    const rig = new Rig().curl(0.2).run(30);
    expect([rig.effort, rig.governor.outputs.heats[INDEX]]).toEqual([1, 0]);
  });

  it('letting go gives the time back', () => {
    const rig = pressing().run(15).curl(0.2).run(12.1).curl(0.51).run(1);
    expect(rig.effort).toBe(1);
  });

  it('warms as a first-order body and cools with its time constant', () => {
    // Weaker than the cap: full effort is full drive, which reaches the fade (0.8) in maxHoldS.
    const rig = pressing({ stallTorqueNm: 0.08 }).run(10);
    const warm = rig.governor.outputs.heats[INDEX];
    expect(warm).toBeCloseTo(0.8, 2);
    rig.ask(1, 0).step().run(30);
    expect(rig.governor.outputs.heats[INDEX] / warm).toBeCloseTo(Math.exp(-1), 2);
  });

  it('fades for heat when short holds come too often', () => {
    const rig = pressing({ stallTorqueNm: 0.08 });
    let leastEffort = 1;
    let mostHeat = 0;
    for (let cycle = 0; cycle < 10; cycle++) {
      rig.curl(0.51).run(9);
      leastEffort = Math.min(leastEffort, rig.effort);
      mostHeat = Math.max(mostHeat, rig.governor.outputs.heats[INDEX]);
      if (rig.effort < 1) expect(rig.limits).toContain('heat');
      rig.curl(0.2).run(9);
    }
    expect(leastEffort).toBeLessThan(0.95);
    expect(mostHeat).toBeLessThanOrEqual(1);
  });

  it('counts pulses as heat', () => {
    const rig = new Rig().ask(1, 0);
    rig.inputs.pulseDrives[INDEX] = 1;
    rig.run(5);
    expect(rig.governor.outputs.heats[INDEX]).toBeGreaterThan(0.4);
  });
});

describe('reports', () => {
  it('tells each intervention once while it lasts, and again when it comes back', () => {
    const rig = new Rig().run(0.2);
    rig.events();
    rig.inputs.healthy[INDEX] = 0;
    rig.run(1);
    expect(rig.events()).toEqual([{ finger: INDEX, reason: 'faultyFinger', asked: 1, given: 0 }]);
    rig.inputs.healthy[INDEX] = 1;
    rig.run(0.5);
    rig.events();
    rig.inputs.healthy[INDEX] = 0;
    rig.step();
    expect(rig.events()).toHaveLength(1);
  });

  it('tells where a stop was asked and where it is', () => {
    const rig = new Rig().curl(0.7);
    rig.events();
    rig.run(0.3);
    const [event] = rig.events().filter(({ reason }) => reason === 'notBehindFinger');
    expect(event.finger).toBe(INDEX);
    expect(event.asked).toBeLessThan(event.given);
    expect(event.given).toBeCloseTo(0.72, 9);
  });

  it('overwrites the oldest when nobody reads, and counts them', () => {
    const rig = new Rig();
    for (let n = 0; n < 200; n++) rig.governor.disarm(n, 'again');
    // One arm and 200 disarms into a ring of 128.
    expect(rig.governor.events.overwritten).toBe(73);
    expect(rig.events()).toHaveLength(128);
    expect(rig.governor.events.size).toBe(0);
  });

  it('has a bit and a line of text for every limit', () => {
    expect(limitNames(LIMITS.reduce((bits, name) => bits | LIMIT_BIT[name], 0))).toEqual([...LIMITS]);
    for (const name of LIMITS) expect(LIMIT_TEXT[name]).toMatch(/^[A-Z].*\.$/);
  });
});

describe('a hobby servo, which holds with all it has whatever the effort', () => {
  const hobby = (other: Partial<ActuatorProfile> = {}) =>
    new Rig(
      FIVE_SERVOS.map(({ role }) => servo(role, { torqueControl: false, spoolRadiusMm: 20, ...other })),
    );

  it('is told and reckoned with as it is, not as it was asked', () => {
    const rig = hobby().ask(0.5, 0.3).run(0.2);
    expect(rig.held).toBe(true);
    expect(rig.effort).toBe(1);
    // 0.15 N·m over 20 mm.
    expect(rig.governor.outputs.tensionsN[INDEX]).toBeCloseTo(7.5, 9);
    expect(rig.limits).toEqual([]);
  });

  it('stays free where its stall exceeds the tension cap', () => {
    const rig = hobby({ spoolRadiusMm: 10 }).run(0.1);
    expect(rig.held).toBe(false);
    expect(rig.limits).toContain('tension');
    expect(rig.governor.outputs.tensionsN[INDEX]).toBe(0);
    expect(rig.events().filter(({ reason }) => reason === 'tension')).toHaveLength(1);
  });

  it('lets go when the hold time is over, and holds again when it has rested, not before', () => {
    const rig = hobby({ maxHoldS: 2, coolS: 600 }).curl(0.5).run(1.9);
    expect(rig.held).toBe(true);
    rig.run(0.2);
    expect(rig.held).toBe(false);
    // Hold time comes back as fast as it was used.
    rig.run(2 * (1 - REST_TO) - 0.2);
    expect(rig.held).toBe(false);
    const { heats } = rig.governor.outputs;
    rig.run(0.4);
    // Warm from the hold: the heat decides when it may hold again.
    expect(rig.held).toBe(heats[INDEX] <= REST_TO * 0.8);
    expect(rig.held || rig.limits.includes('heat')).toBe(true);
  });

  it('lets go when it is warm, and stays free until it has cooled', () => {
    const rig = hobby({ maxHoldS: 600, coolS: 2 });
    // Warmth from pulses alone: the hold time is not touched.
    rig.inputs.pulseDrives[INDEX] = 2;
    rig.curl(0.1).run(600);
    expect(rig.held).toBe(false);
    expect(rig.limits).toContain('heat');
    rig.inputs.pulseDrives[INDEX] = 0;
    rig.run(0.05);
    expect(rig.held).toBe(false);
    rig.run(20);
    expect(rig.held).toBe(true);
  });

  it('is let go when the supply cannot feed all: the least firmly asked for first, and steadily', () => {
    const rig = hobby();
    for (const [finger, effort] of [0.9, 0.2, 0.8, 0.5, 1].entries()) rig.ask(0.5, effort, finger);
    const held: string[] = [];
    for (let n = 0; n < 50; n++) held.push([...rig.step().governor.outputs.held].join(''));
    // 2.5 A feed three servos of 0.7 A.
    expect(new Set(held)).toEqual(new Set(['10101']));
    expect(rig.limits).toContain('supply');
  });

  it('does not starve the drives beside it that heed the effort', () => {
    const rig = new Rig(
      FIVE_SERVOS.map(({ role }, n) => servo(role, { torqueControl: n > 1, spoolRadiusMm: 20 })),
    );
    for (let finger = 0; finger < 5; finger++) rig.ask(0.5, 1, finger);
    const { held, drives } = rig.step().governor.outputs;
    expect([...held]).toEqual([1, 1, 1, 1, 1]);
    const currentA = drives.reduce((sum, drive) => sum + drive * 0.7, 0);
    expect(currentA).toBeCloseTo(2.5, 9);
    expect(drives[0]).toBe(1);
  });
});
