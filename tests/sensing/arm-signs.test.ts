import { describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { INFERRED, TRACKED } from '../../src/hand/validity.js';
import { type ArmSignsOptions, createArmSigns } from '../../src/sensing/arm-signs.js';
import { random } from './glove-signals.js';

const SENSED = FINGERS.map(() => TRACKED);
const BUTTON = 1 << 4;
const STEP_MS = 4;

/** A glove whose wearer does one thing after another; counts the signs. */
function wearer(options: Partial<ArmSignsOptions>) {
  const signs = createArmSigns({ buttonMask: BUTTON, pressS: 1.5, fists: 3, ...options });
  let timeUs = 1e6;
  let curl = 0.1;
  const one = {
    signs: 0,
    armed: false,
    states: SENSED,
    curlOf: (value: number, _finger: number) => value,
    keep(ms: number, buttons = 0) {
      for (let t = 0; t < ms; t += STEP_MS) one.sample(buttons);
    },
    sample(buttons = 0, afterUs = STEP_MS * 1000) {
      timeUs += afterUs;
      const curls = FINGERS.map((_, finger) => one.curlOf(curl, finger));
      if (signs.update(buttons, curls, one.states, one.armed, timeUs)) one.signs++;
    },
    /** The hand goes there as a hand does, and stays a while. */
    go(to: number, ms: number, thenMs: number) {
      const from = curl;
      for (let t = 0; t < ms; t += STEP_MS) {
        curl = from + ((to - from) * t) / ms;
        one.sample();
      }
      curl = to;
      one.keep(thenMs);
    },
    fist(openMs = 200) {
      one.go(0.9, 250, 150);
      one.go(0.1, 250, openMs);
    },
  };
  return one;
}

describe('a long press', () => {
  it('arms once it has been held for the time, once a press', () => {
    const one = wearer({});
    // What is pressed when the first sample comes was not pressed as a sign.
    one.keep(3000, BUTTON);
    one.keep(10);
    one.keep(1490, BUTTON);
    expect(one.signs).toBe(0);
    one.keep(20, BUTTON);
    expect(one.signs).toBe(1);
    one.keep(5000, BUTTON);
    expect(one.signs).toBe(1);
    one.keep(10);
    one.keep(1510, BUTTON);
    expect(one.signs).toBe(2);
  });

  it('is none in pieces, by other buttons, across a silence, or where the profile names no button', () => {
    const one = wearer({});
    for (let i = 0; i < 10; i++) {
      one.keep(1400, BUTTON);
      one.sample(0);
    }
    one.keep(3000, ~BUTTON);
    one.keep(1000, BUTTON);
    one.sample(BUTTON, 200_000);
    one.keep(3000, BUTTON);
    const without = wearer({ buttonMask: 0 });
    without.keep(3000, BUTTON);
    expect([one.signs, without.signs]).toEqual([0, 0]);
  });

  it('that was begun while the glove was armed does not arm it again when it is disarmed', () => {
    const one = wearer({});
    one.armed = true;
    one.keep(1000, BUTTON);
    one.armed = false;
    one.keep(4000, BUTTON);
    expect(one.signs).toBe(0);
  });
});

describe('fists', () => {
  it('arm when there are as many as the profile says, and the hand is open and at rest', () => {
    const one = wearer({});
    one.keep(2000);
    one.fist();
    one.fist();
    one.go(0.9, 250, 150);
    one.go(0.1, 250, 250);
    expect(one.signs).toBe(0);
    one.keep(200);
    expect(one.signs).toBe(1);
    one.keep(10_000);
    expect(one.signs).toBe(1);
  });

  it.each<[string, (one: ReturnType<typeof wearer>) => void]>([
    ['one too few', (one) => [one.fist(), one.fist(400)]],
    ['one too many', (one) => [one.fist(), one.fist(), one.fist(), one.fist(400)]],
    ['a pause between them', (one) => [one.fist(), one.fist(2000), one.fist(400)]],
    [
      'one held for long',
      (one) => [one.fist(), one.go(0.9, 250, 2000), one.go(0.1, 250, 200), one.fist(400)],
    ],
    ['half fists', (one) => [1, 2, 3].map(() => [one.go(0.6, 200, 100), one.go(0.1, 200, 300)])],
    [
      'fingers that are only guessed',
      (one) => {
        one.states = SENSED.map((state, finger) => (finger === 4 ? INFERRED : state));
        for (let i = 0; i < 3; i++) one.fist(400);
      },
    ],
    [
      'a finger that stays straight',
      (one) => {
        one.curlOf = (curl, finger) => (finger === 1 ? 0.05 : curl);
        for (let i = 0; i < 3; i++) one.fist(400);
      },
    ],
    [
      'readings that are no numbers',
      (one) => {
        one.curlOf = (curl, finger) => (finger === 2 ? Number.NaN : curl);
        for (let i = 0; i < 3; i++) one.fist(400);
      },
    ],
    [
      'a glove that is armed',
      (one) => {
        one.armed = true;
        for (let i = 0; i < 3; i++) one.fist(400);
      },
    ],
  ])('do not with %s', (_, act) => {
    const one = wearer({});
    one.keep(500);
    act(one);
    one.keep(3000);
    expect(one.signs).toBe(0);
  });

  it('are not what an hour of grasping things looks like', () => {
    const next = random(7);
    const one = wearer({});
    for (let spentMs = 0; spentMs < 3.6e6; ) {
      const ms = 150 + 700 * next();
      const stayMs = 2000 * next() ** 2;
      // Each finger closes as far as the thing in the hand lets it; one in three grasps is a whole fist.
      const whole = next() < 1 / 3;
      const shares = FINGERS.map(() => (whole ? 1 : 0.5 + 0.5 * next()));
      one.curlOf = (curl, finger) => curl * shares[finger];
      one.go(0.3 + 0.65 * next(), ms, stayMs);
      const restMs = 3000 * next() ** 2;
      one.go(0.15 * next() + 0.1, ms, restMs);
      spentMs += 2 * ms + stayMs + restMs;
    }
    expect(one.signs).toBe(0);
  });

  it('are nothing where the profile does not ask for them', () => {
    const one = wearer({ fists: undefined });
    for (let i = 0; i < 3; i++) one.fist(400);
    one.keep(1000);
    expect(one.signs).toBe(0);
  });
});
