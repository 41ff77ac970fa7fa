import { describe, expect, it } from 'vitest';
import { ANSWER_WITHIN_US, OPENS_BY } from '../../src/resistance/grasp-hold.js';
import { HOLD_DEPTH } from '../../src/resistance/guards.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { FIVE_SERVOS, SAFETY, servo } from './profiles.js';
import { randomSource } from './storm.js';

const STEP_US = 4000;

class GraspingHand {
  nowUs = 1_000_000;
  readonly curls = new Float64Array(5).fill(0.1);
  readonly ok = new Uint8Array(5).fill(1);
  live = true;
  ageUs = 0;
  readonly resistance: Resistance;
  constructor(graspEffort = 0.8, actuators = FIVE_SERVOS) {
    const options = { safety: SAFETY, actuators };
    this.resistance = new Resistance(graspEffort > 0 ? { ...options, graspEffort } : options);
    this.run(1);
    this.resistance.arm(this.nowUs, 'wearer');
  }
  run(steps: number, perStep = 0): this {
    for (let n = 0; n < steps; n++) {
      this.nowUs += STEP_US;
      for (let finger = 0; finger < 5; finger++) this.curls[finger] += perStep;
      this.resistance.step(this.nowUs, this.curls, this.ok, this.nowUs - this.ageUs, this.live);
    }
    return this;
  }
  /** @returns whether that was well */
  vibrate(grasps = true, app = 'game'): boolean {
    return !this.resistance.pulse(this.nowUs, undefined, 0.5, 30, 150, app, grasps);
  }
  get held(): number {
    return this.resistance.status.held.reduce((sum, each) => sum + each, 0);
  }
}

describe('a grasp hold', () => {
  it('stops the fingers where they are when the hand closes and the application vibrates', () => {
    const hand = new GraspingHand();
    hand.run(80, 0.005);
    expect(hand.vibrate()).toBe(true);
    hand.run(75);
    const { status } = hand.resistance;
    expect([...status.held]).toEqual([1, 1, 1, 1, 1]);
    for (let finger = 0; finger < 5; finger++) {
      expect(status.apps[finger]).toBe('game');
      expect(status.stops[finger]).toBeGreaterThanOrEqual(hand.curls[finger]);
      expect(status.stops[finger]).toBeLessThan(hand.curls[finger] + 0.03);
      expect(status.efforts[finger]).toBeLessThanOrEqual(0.8 + 1e-9);
    }
    // It outlasts the knock, and the fingers press on it.
    hand.run(5, 0.005).run(200);
    expect(hand.held).toBe(5);
    expect(status.stops[1]).toBeLessThan(hand.curls[1]);
  });

  it('ends when a finger opens by 0.05 from where it was deepest, and not before', () => {
    const hand = new GraspingHand();
    hand.run(80, 0.005);
    hand.vibrate();
    hand.run(75);
    hand.curls[2] -= OPENS_BY - 0.005;
    hand.run(20);
    expect(hand.held).toBe(5);
    hand.curls[2] -= 0.006;
    hand.run(1);
    expect(hand.held).toBe(0);
    // The same closing does not bring it back: the hand would have to close again.
    hand.run(50);
    hand.vibrate();
    hand.run(60);
    expect(hand.held).toBe(0);
  });

  it.each([
    ['is off unless the profile has it', (hand: GraspingHand) => hand.vibrate(), new GraspingHand(0)],
    ['is for applications that only vibrate', (hand: GraspingHand) => hand.vibrate(false)],
    ['needs a hand that closes', (hand: GraspingHand) => hand.run(60).vibrate()],
    [
      'needs an answer soon enough',
      (hand: GraspingHand) => hand.run(ANSWER_WITHIN_US / STEP_US + 5).vibrate(),
    ],
    [
      'needs an armed glove',
      (hand: GraspingHand) => {
        hand.resistance.disarm(hand.nowUs, 'wearer');
        hand.vibrate();
      },
    ],
  ])('%s', (_what, act, hand = new GraspingHand()) => {
    hand.run(80, 0.005);
    act(hand);
    // Longer than any knock.
    hand.run(60);
    expect(hand.held).toBe(0);
  });

  it.each([
    ['a disarm', (hand: GraspingHand) => void hand.resistance.disarm(hand.nowUs, 'wearer')],
    ['its app’s leaving', (hand: GraspingHand) => hand.resistance.drop('game')],
    [
      'a link that is lost',
      (hand: GraspingHand) => {
        hand.live = false;
      },
    ],
    [
      'samples that are old',
      (hand: GraspingHand) => {
        hand.ageUs = 150_000;
      },
    ],
    ['the fitting of stops', (hand: GraspingHand) => void hand.resistance.beginProbing()],
  ])('ends with %s, and does not come back by itself', (_what, act) => {
    const hand = new GraspingHand();
    hand.run(80, 0.005);
    hand.vibrate();
    hand.run(75);
    expect(hand.held).toBe(5);
    act(hand);
    hand.run(1);
    expect(hand.held).toBe(0);
    hand.live = true;
    hand.ageUs = 0;
    hand.resistance.endProbing();
    hand.run(80);
    hand.resistance.arm(hand.nowUs, 'wearer');
    hand.run(50);
    expect(hand.held).toBe(0);
  });

  it('ends after maxHoldS; a finger whose sensor failed meanwhile stays free', () => {
    const hand = new GraspingHand(
      0.8,
      FIVE_SERVOS.map(({ role }) => servo(role, { maxHoldS: 2 })),
    );
    hand.run(80, 0.005);
    hand.vibrate();
    hand.run(75);
    hand.ok[3] = 0;
    hand.run(5);
    hand.ok[3] = 1;
    hand.run(20);
    expect([...hand.resistance.status.held]).toEqual([1, 1, 1, 0, 1]);
    hand.run((1.5e6 - 100 * STEP_US) / STEP_US);
    expect(hand.held).toBe(4);
    hand.run(0.6e6 / STEP_US);
    expect(hand.held).toBe(0);
  });
});

/** What a referee knows: what went in, what came out. It does its own arithmetic. */
describe('a million steps of vibrations, hands and faults', () => {
  it('hold a finger only after a closing hand’s vibration, never behind it, and let go when it opens', () => {
    const random = randomSource(5);
    const chance = (p: number) => random() < p;
    const maxHoldS = 1.5;
    // Weak enough never to warm, so that nothing else than the hold's own end frees.
    const actuators = FIVE_SERVOS.map(({ role }) => servo(role, { maxHoldS, coolS: 2 }));
    let heldSteps = 0;
    let grasps = 0;
    let knocks = 0;
    let opened = 0;
    const violations = new Map<string, string>();
    for (let steps = 0; steps < 1_000_000; ) {
      const hand = new GraspingHand(0.8, actuators);
      const { resistance, curls } = hand;
      const { status } = resistance;
      const target = new Float64Array(5).fill(0.1);
      const speed = new Float64Array(5).fill(1);
      const recent: number[][] = [];
      const last = new Float64Array(5).fill(1);
      let armed = true;
      let vibratedUs = Number.NEGATIVE_INFINITY;
      /** Vibrations that a grasp may have answered to, and which fingers have not opened since. */
      let candidates: { atUs: number; deepest: Float64Array; alive: boolean[] }[] = [];
      let released = true;
      const must = (isSo: boolean, what: string) => {
        if (!isSo && !violations.has(what)) violations.set(what, `at ${hand.nowUs} µs`);
      };
      for (let n = 0; n < 20_000; n++, steps++) {
        const passUs = chance(0.001) ? 150_000 : 1000 + Math.floor(random() * 7000);
        hand.nowUs += passUs;
        if (chance(0.005)) {
          const whole = random();
          for (let finger = 0; finger < 5; finger++) {
            target[finger] = chance(0.8) ? whole : random();
            speed[finger] = 0.2 + 5 * random();
          }
        }
        for (let finger = 0; finger < 5; finger++) {
          const way = target[finger] - curls[finger];
          const most = (speed[finger] * passUs) / 1e6;
          curls[finger] += Math.max(-most, Math.min(most, way));
          if (chance(0.0002)) hand.ok[finger] = 0;
          else if (chance(0.01)) hand.ok[finger] = 1;
        }
        if (chance(0.0003)) hand.live = false;
        else if (chance(0.02)) hand.live = true;
        hand.ageUs = chance(0.0005) ? 300_000 : Math.floor(random() * 8000);
        if (chance(0.0002)) {
          resistance.disarm(hand.nowUs, 'wearer');
          armed = false;
        } else if (chance(0.01) && resistance.arm(hand.nowUs, 'wearer')) armed = true;
        if (chance(0.0005)) resistance.drop('game');
        if (chance(0.02)) {
          const grasps = chance(0.7);
          const strength = chance(0.01) ? Number.NaN : random();
          const ms = chance(0.1) ? 0 : Math.floor(random() * 400);
          const target = chance(0.5) ? undefined : 'index';
          const app = chance(0.5) ? 'game' : 'other';
          if (!resistance.pulse(hand.nowUs, target, strength, ms, 150, app, grasps)) {
            if (ms > 0) vibratedUs = hand.nowUs;
            const closing = [1, 2, 3, 4].some((finger) =>
              recent.some(
                (past) => hand.nowUs - past[0] <= 165_000 && curls[finger] - past[finger + 1] >= 0.029,
              ),
            );
            if (grasps && closing && ms > 0) {
              candidates.push({
                atUs: hand.nowUs,
                deepest: Float64Array.from(curls),
                alive: new Array(5).fill(true),
              });
            }
          }
        }
        resistance.step(hand.nowUs, curls, hand.ok, hand.nowUs - hand.ageUs, hand.live);

        // The referee. Within 150 ms of a pulse it may be a knock; what is held longer is a grasp.
        recent.push([hand.nowUs, ...curls]);
        while (hand.nowUs - recent[0][0] > 200_000) recent.shift();
        const sound = armed && hand.live && hand.ageUs <= SAFETY.staleMs * 1000;
        candidates = candidates.filter(({ atUs }) => hand.nowUs - atUs < maxHoldS * 1e6);
        for (const { deepest, alive } of candidates) {
          for (let finger = 0; finger < 5; finger++) {
            deepest[finger] = Math.max(deepest[finger], curls[finger]);
            if (!sound || deepest[finger] - curls[finger] >= OPENS_BY) alive[finger] = false;
            if (!alive[finger]) opened++;
          }
        }
        let held = false;
        for (let finger = 0; finger < 5; finger++) {
          if (status.held[finger] !== 1) {
            last[finger] = 1;
            continue;
          }
          held = true;
          must(sound, 'free while disarmed, without a link, or stale');
          must(hand.ok[finger] === 1, 'free when faulty');
          const stop = status.stops[finger];
          // Never placed behind the finger; what the finger presses past may stay, within the governor's depth.
          must(stop >= last[finger] - 1e-12 || stop >= curls[finger] - 1e-9, 'not placed behind the finger');
          must(stop >= curls[finger] - HOLD_DEPTH - 1e-9, 'not far behind the finger');
          must(status.efforts[finger] <= 1 + 1e-9, 'effort');
          last[finger] = stop;
        }
        if (!held) {
          released = true;
          continue;
        }
        heldSteps++;
        if (released) {
          released = false;
          // A pulse that began it; a guard may have let go in its middle.
          must(hand.nowUs - vibratedUs <= 151_000, 'begins with a vibration');
          if (candidates.at(-1)?.atUs === vibratedUs) grasps++;
          else knocks++;
        }
        for (let finger = 0; finger < 5; finger++) {
          if (status.held[finger] !== 1 || hand.nowUs - vibratedUs <= 151_000) continue;
          // No knock: it must be a grasp, by a finger that has not opened since.
          must(['game', 'other'].includes(status.apps[finger]), 'names its app');
          must(
            candidates.some(({ alive }) => alive[finger]),
            'held by a hand that closed before and has not opened',
          );
        }
      }
    }
    expect(Object.fromEntries(violations)).toEqual({});
    expect(heldSteps).toBeGreaterThan(50_000);
    expect(grasps).toBeGreaterThan(500);
    expect(knocks).toBeGreaterThan(500);
    expect(opened).toBeGreaterThan(500);
  });
});
