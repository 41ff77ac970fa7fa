import { describe, expect, it } from 'vitest';
import type { ActuatorProfile, SafetyProfile } from '../../src/config/schema.js';
import { GovernedHand, INDEX, STEP_US } from './governed-hand.js';
import { FIVE_SERVOS, servo } from './profiles.js';

/** A hand whose fingers move as a test says. */
class MovingHand extends GovernedHand {
  private t = 0;
  /** Without noise. */
  private readonly at = new Float64Array(5).fill(0.2);

  constructor(actuators: ActuatorProfile[] = FIVE_SERVOS, safety: Partial<SafetyProfile> = {}) {
    super(actuators, safety);
    this.ask(1, 0);
  }

  /** All fingers, or the index alone, for so long. @param at curl over time, s, from now */
  move(seconds: number, at: (t: number) => number, fingers = [0, 1, 2, 3, 4]): this {
    for (let n = 0; n < Math.round((seconds * 1e6) / STEP_US); n++) {
      for (const finger of fingers) {
        this.at[finger] = at(((n + 1) * STEP_US) / 1e6);
        this.inputs.curls[finger] = this.at[finger] + this.noise();
      }
      this.step();
    }
    return this;
  }

  /** From one curl to another at a steady speed, curl/s. */
  go(to: number, speed: number, fingers?: number[]): this {
    const from = this.at[fingers?.[0] ?? INDEX];
    const seconds = Math.abs(to - from) / speed;
    const way = (t: number) => Math.min(Math.abs(to - from), speed * t);
    return this.move(seconds + STEP_US / 1e6, (t) => from + Math.sign(to - from) * way(t), fingers);
  }

  rest(seconds: number, fingers?: number[]): this {
    const at = this.at[fingers?.[0] ?? INDEX];
    return this.move(seconds, () => at, fingers);
  }

  /** As what is left of a healthy channel's noise by the filter. */
  private noise(): number {
    this.t += 1;
    return 0.001 * Math.sin(this.t * this.t);
  }
}

const OTHERS = [0, 2, 3, 4];
const ALONE = [INDEX];

describe('a reading that creeps', () => {
  it('is not followed by the stop: an open input that leaks, a string that slips', () => {
    for (const speed of [0.02, 0.1, 0.25]) {
      const hand = new MovingHand().go(0.9, 3).rest(0.5).ask(0.3).rest(0.3);
      expect(hand.stop).toBeCloseTo(0.92, 1);
      hand.go(0.4, speed, ALONE);
      expect(hand.stop, `${speed} curl/s`).toBeGreaterThan(0.88);
      expect(hand.limits).toContain('unseen');
      // As soon as the finger moves as fingers do, the stop comes.
      hand.go(0.2, 2, ALONE).rest(0.4, ALONE);
      expect([hand.stop, hand.limits]).toEqual([0.3, []]);
    }
  });

  it('is followed where the profile permits pulling, and by a brake, which cannot pull', () => {
    const pulls = new MovingHand(FIVE_SERVOS, { allowPull: true }).go(0.9, 3).rest(0.5).ask(0.3).rest(0.3);
    expect(pulls.stop).toBe(0.3);
    const brakes = [servo('index', { kind: 'brake' })];
    const brake = new MovingHand(brakes).go(0.9, 3).rest(0.5).ask(0.3).go(0.4, 0.1, ALONE);
    expect([brake.stop, brake.limits]).toEqual([0.3, []]);
  });
});

it('a reading that runs away is followed a moment later, when it is known for what it is', () => {
  const hand = new MovingHand().go(0.9, 3).rest(0.5).ask(0.3).rest(0.3);
  const stop = hand.stop;
  hand.move(0.08, (t) => 0.9 - 6 * t, ALONE);
  expect(hand.inputs.curls[INDEX]).toBeLessThan(0.45);
  expect(hand.stop).toBeCloseTo(stop, 3);
  expect(hand.limits).not.toContain('unseen');
  hand.rest(0.3, ALONE);
  expect(hand.stop).toBeLessThan(0.47);
});

describe('a reading that stands still while the hand moves', () => {
  it('gets no stop', () => {
    const hand = new MovingHand().go(0.4, 3).rest(1);
    hand.go(0.85, 3, OTHERS).ask(0.5).rest(0.5, ALONE);
    expect([hand.held, hand.limits]).toEqual([false, ['unseen']]);
    hand.go(0.6, 2, ALONE);
    expect(hand.held).toBe(true);
  });

  it('keeps the stop it has, and no nearer one', () => {
    const hand = new MovingHand().go(0.4, 3).rest(0.5).ask(0.7).rest(0.5).go(0.85, 3, OTHERS);
    hand.ask(0.45).rest(0.5, ALONE);
    expect([hand.held, hand.stop, hand.limits]).toEqual([true, 0.7, ['unseen']]);
    hand.ask(0.8).step();
    expect([hand.stop, hand.limits]).toEqual([0.8, []]);
  });

  it('gets one if the others hardly moved, or one of its neighbours alone', () => {
    const small = new MovingHand().go(0.4, 3).rest(1).go(0.6, 3, OTHERS).ask(0.5).rest(0.5);
    expect([small.stop, small.limits]).toEqual([0.5, []]);
    const pinch = new MovingHand().go(0.2, 3).rest(1).go(0.7, 3, [0]).ask(0.5).rest(0.5);
    expect([pinch.stop, pinch.limits]).toEqual([0.5, []]);
  });

  it('gets one however long it rests in a hand that rests', () => {
    const hand = new MovingHand().go(0.3, 3).rest(60).ask(0.5).rest(0.5);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });
});

describe('a channel that was at fault', () => {
  const faulty = () => {
    const hand = new MovingHand().go(0.3, 3).ask(0.6).rest(1);
    hand.inputs.healthy[INDEX] = 0;
    hand.rest(0.1);
    expect(hand.limits).toEqual(['faultyFinger']);
    hand.inputs.healthy[INDEX] = 1;
    return hand;
  };

  it('gets no stop until its finger has moved', () => {
    const hand = faulty().rest(3);
    expect([hand.held, hand.limits]).toEqual([false, ['unseen']]);
    hand.go(0.4, 1).rest(0.4);
    expect([hand.stop, hand.limits]).toEqual([0.6, []]);
  });

  it('is not seen to move while it is eased back from its estimate', () => {
    const hand = faulty().move(0.3, (t) => 0.3 + t);
    expect(hand.held).toBe(false);
  });

  it('is not blamed for a link that was lost', () => {
    const hand = new MovingHand().go(0.3, 3).ask(0.6).rest(1);
    hand.inputs.linkLive = false;
    hand.inputs.healthy.fill(0);
    hand.rest(0.3);
    hand.inputs.linkLive = true;
    hand.inputs.healthy.fill(1);
    hand.rest(0.3);
    expect([hand.stop, hand.limits]).toEqual([0.6, []]);
  });
});

describe('a finger that does not answer its stop', () => {
  /** Runs up against its stop and presses on it, by this much. */
  const pressing = (depth: number) =>
    new MovingHand()
      .go(0.1, 3)
      .ask(0.5)
      .rest(0.5)
      .go(0.5 + depth, 3)
      .rest(0.8);

  it('is freed when the stop goes and it stays', () => {
    const hand = pressing(0.015).ask(0.9).rest(0.5);
    expect([hand.held, hand.limits]).toEqual([false, ['unseen']]);
    // Asked for again where it was: the reading may be of a finger that is long elsewhere.
    hand.ask(0.5).rest(1);
    expect(hand.held).toBe(false);
    hand.go(0.3, 2).rest(0.4);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });

  it('also when the app lets go altogether and comes again', () => {
    const hand = pressing(0.015).ask(1, 0).rest(0.5).ask(0.5).rest(0.5);
    expect(hand.held).toBe(false);
    expect(hand.limits).toContain('unseen');
  });

  it('and when it creeps meanwhile', () => {
    for (const speed of [0.07, -0.07, -0.25]) {
      const hand = pressing(0.015)
        .ask(1, 0)
        .move(0.5, (t) => 0.515 + speed * t)
        .ask(0.3)
        .step();
      expect(hand.held, `${speed} curl/s`).toBe(false);
      expect(hand.limits).toContain('unseen');
    }
  });

  it.each<[string, (hand: MovingHand) => MovingHand]>([
    ['goes on as the stop goes', (hand) => hand.ask(1, 0).move(0.5, (t) => Math.min(0.9, 0.515 + 4 * t))],
    ['goes on a little: it is stiff', (hand) => hand.ask(1, 0).move(0.5, (t) => Math.min(0.525, 0.515 + t))],
    ['opens', (hand) => hand.ask(1, 0).move(0.5, (t) => Math.max(0.2, 0.515 - t))],
  ])('but not one that %s', (_, act) => {
    const hand = act(pressing(0.015)).ask(0.95).rest(0.5);
    expect([hand.held, hand.limits]).toEqual([true, []]);
  });

  it('nor one that came to rest before its stop, or just at it', () => {
    for (const depth of [-0.2, -0.02, 0, 0.005]) {
      const hand = pressing(depth).ask(1, 0).rest(0.6).ask(0.6).rest(0.4);
      expect([hand.stop, hand.limits], `${depth}`).toEqual([0.6, []]);
    }
  });

  it('nor one that closed on its stop slowly', () => {
    const hand = new MovingHand().go(0.1, 3).ask(0.5).rest(0.5).go(0.515, 0.2).rest(0.8);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
    hand.ask(0.7).rest(0.6);
    expect([hand.stop, hand.limits]).toEqual([0.7, []]);
  });

  it('nor one that is held with a drive that heeds the effort, on a soft surface, which goes with it', () => {
    const hand = new MovingHand([servo('index', { torqueControl: true })]).go(0.1, 3).ask(0.5).rest(0.5);
    // The stop keeps a little ahead of a finger that sinks in, and comes back with it.
    for (const [to, speed] of [
      [0.55, 1],
      [0.7, 0.4],
      [0.5, 0.5],
      [0.65, 2],
    ] as const) {
      const from = hand.inputs.curls[INDEX];
      const seconds = Math.abs(to - from) / speed;
      for (let n = 0; n < (seconds * 1e6) / STEP_US; n++) {
        const curl = from + (Math.sign(to - from) * speed * n * STEP_US) / 1e6;
        hand
          .ask(Math.max(0.5, curl + 0.02), 0.5)
          .curl(curl)
          .step();
        expect(hand.held).toBe(true);
      }
      hand.rest(0.5);
    }
    expect(hand.limits).toEqual([]);
  });

  it('nor one whose servo overshoots and comes back', () => {
    const hand = new MovingHand().go(0.1, 3).ask(0.5).rest(0.5).go(0.5, 3);
    // It runs into the stop, which gives, springs back and comes to rest a little past it.
    hand.move(0.5, (t) => 0.515 + 0.03 * Math.exp(-t / 0.05) * Math.cos(60 * t)).rest(1);
    expect([hand.stop, hand.limits]).toEqual([0.5, []]);
  });
});
