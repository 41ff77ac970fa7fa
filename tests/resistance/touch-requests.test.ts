import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createTouchContacts, Touches, type TouchRequest } from '../../src/contact/touches.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  setCurl,
} from '../../src/hand/index.js';
import { forcesOf } from '../../src/resistance/actuators.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { TouchRequests } from '../../src/resistance/touch-requests.js';
import { all, FIVE_SERVOS, SAFETY, servo } from './profiles.js';

const skeleton = createSkeleton({ side: 'right', lengthM: 0.19 });
const closing = createClosingProfile();
const STEP_US = 4000;

const ball = (over: Partial<TouchRequest> = {}): TouchRequest => ({
  type: 'touch',
  hand: 'right',
  shape: { kind: 'sphere', radius: 0.035 },
  position: [0, -0.065, -0.13],
  ...over,
});

/** A hand with every finger at one curl that an app lets touch things. */
function createHand(actuators = FIVE_SERVOS) {
  const touches = new Touches(skeleton, closing, SAFETY);
  const requests = new TouchRequests(forcesOf(actuators, SAFETY));
  const contacts = createTouchContacts();
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  /** What the touch asks for with the hand at that curl, moving at that rate. */
  const at = (curl: number, rate = 0, nowUs = 0) => {
    for (let finger = 0; finger < 5; finger++) setCurl(closing, finger, curl, dofs);
    forwardKinematics(skeleton, dofs, poses);
    touches.solve(nowUs, dofs, poses, 'wrist', contacts);
    for (const touch of touches.live) requests.ask(touch, all(curl), all(rate), nowUs);
    return { stop: requests.stops[2], effort: requests.efforts[2], surface: contacts.stop[2] };
  };
  return { touches, requests, at };
}

const touching = (over: Partial<TouchRequest> = {}, actuators = FIVE_SERVOS) => {
  const hand = createHand(actuators);
  expect(hand.touches.set('app', '', ball(over), 0)).toBeUndefined();
  return hand;
};

describe('what a touch asks for', () => {
  it('is the surface at the effort asked, before the finger is there and when it is', () => {
    const { at } = touching({ effort: 0.6 });
    const { stop, effort, surface } = at(0);
    expect(stop).toBe(surface);
    expect(effort).toBe(0.6);
    expect(at(surface).stop).toBeCloseTo(surface, 3);
    expect(at(surface).effort).toBe(0.6);
  });

  it('is before the surface by what string and servo give under a light hold, or under the effort if that is less', () => {
    const soft = FIVE_SERVOS.map(({ role }) => servo(role, { giveMmPerN: 0.28 }));
    // 0.28 mm a newton under 5 N, of 43 mm that the string travels from open to closed; SAFETY lets 8 N be.
    const aheadMm = ({ stop, surface }: { stop: number; surface: number }) => (surface - stop) * 43;
    expect(aheadMm(touching({}, soft).at(0))).toBeCloseTo(0.28 * 5, 5);
    expect(aheadMm(touching({ effort: 0.25 }, soft).at(0))).toBeCloseTo(0.28 * 2, 5);
    // A soft surface gives by itself, and a brake has no place.
    expect(aheadMm(touching({ stiffness: 500 }, soft).at(0))).toBe(0);
    const brakes = soft.map((one) => ({ ...one, kind: 'brake' as const }));
    expect(aheadMm(touching({}, brakes).at(0))).toBe(0);
  });

  it('is nothing with an effort of 0, and nothing for fingers that meet nothing', () => {
    expect(touching({ effort: 0 }).at(0.1).effort).toBe(0);
    const { requests, at } = touching({ position: [0, 0.5, 0] });
    at(0.1);
    expect([...requests.efforts]).toEqual(all(0));
  });

  it('yields on a soft surface by the force over the stiffness', () => {
    const { at } = touching({ stiffness: 500 });
    const { surface } = at(0);
    expect(at(surface).stop).toBeGreaterThan(surface + 0.005);
    // 8 N on a string of 43 mm travel: some 3 N at a pad that goes 110 mm; 6 mm at 500 N/m, a twentieth of the way.
    const deep = at(surface + 0.3);
    expect(deep.stop - surface).toBeGreaterThan(0.015);
    expect(deep.stop - surface).toBeLessThan(0.12);
    expect(deep.effort).toBe(1);
    // Twice as stiff, half as deep.
    const stiffer = touching({ stiffness: 1000 }).at;
    stiffer(0);
    expect((stiffer(surface + 0.3).stop - surface) / (deep.stop - surface)).toBeCloseTo(0.5, 1);
  });

  it('is felt on a brake by the effort alone', () => {
    const brakes = FIVE_SERVOS.map(({ role }) => servo(role, { kind: 'brake' }));
    const { at } = touching({ stiffness: 500 }, brakes);
    const { surface, effort } = at(0);
    expect(effort).toBe(0);
    const inside = at(surface + 0.02);
    expect(inside.stop).toBeCloseTo(surface, 2);
    expect(inside.effort).toBeGreaterThan(0.05);
    expect(inside.effort).toBeLessThan(1);
  });

  it('knocks when the finger arrives fast, once', () => {
    const { at } = touching();
    const { surface } = at(0, 2, 0);
    expect(at(surface, 2, 10_000).effort).toBe(1);
    const after = at(surface, 0, 210_000).effort;
    expect(after).toBeGreaterThan(0.69);
    expect(after).toBeLessThan(0.71);
    // Trembling at the surface is no new contact; leaving it is.
    at(surface - 0.02, 0, 220_000);
    expect(at(surface, 1, 230_000).effort).toBeLessThan(0.72);
    at(surface - 0.06, -1, 240_000);
    expect(at(surface, 2, 250_000).effort).toBe(1);
  });

  it('has a texture only at the surface and while moving', () => {
    const { at } = touching({ texture: { amplitude: 0.5, frequencyHz: 50 } });
    const { surface } = at(0);
    expect(at(surface - 0.2, 1, 10_000).effort).toBe(1);
    expect(at(surface, 0, 10_000).effort).toBe(1);
    expect(at(surface, -1, 10_000).effort).toBeCloseTo(0.5, 6);
    expect(at(surface, -1, 20_000).effort).toBeCloseTo(1, 6);
  });

  it('is never more than asked, never negative and always a number', () => {
    const unit = fc.integer({ min: 0, max: 1000 }).map((n) => n / 1000);
    const step = fc.record({
      curl: fc.oneof(unit, fc.constant(Number.NaN)),
      rate: fc.oneof(fc.integer({ min: -9, max: 9 }), fc.constant(Number.NaN)),
    });
    fc.assert(
      fc.property(
        unit,
        fc.option(fc.integer({ min: 1, max: 100_000 }), { nil: undefined }),
        fc.record({ amplitude: unit, frequencyHz: fc.integer({ min: 1, max: 200 }) }),
        fc.array(step, { minLength: 1, maxLength: 20 }),
        (effort, stiffness, texture, steps) => {
          const hand = touching({ effort, texture, ...(stiffness === undefined ? {} : { stiffness }) });
          const [touch] = hand.touches.live;
          hand.at(0);
          for (const [n, { curl, rate }] of steps.entries()) {
            hand.requests.ask(touch, all(curl), all(rate), n * STEP_US);
            for (let finger = 0; finger < 5; finger++) {
              const given = hand.requests.efforts[finger];
              expect(given >= 0 && given <= effort).toBe(true);
              // Where the finger is not known, the governor frees it: not a number is passed on or nothing asked.
              if (!Number.isNaN(curl)) expect(Number.isFinite(hand.requests.stops[finger])).toBe(true);
            }
          }
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe('a touch through the governor', () => {
  /** @returns curl at which a hand that closes with all its might comes to rest, and the stops on the way */
  function grasp(over: Partial<TouchRequest>) {
    const { touches, requests, at } = touching({ ttlMs: 1000, ...over });
    const resistance = new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS });
    resistance.step(0, all(0), all(1), 0, true);
    resistance.arm(0, 'wearer');
    let curl = 0;
    let surface = 0;
    let turns = 0;
    let lastStop = Number.NaN;
    for (let nowUs = STEP_US; nowUs < 900_000; nowUs += STEP_US) {
      const limit = resistance.status.held[2] === 1 ? resistance.status.stops[2] : 1;
      // The app knows in time: the hand begins to close when the servo is on its way.
      const wanted = nowUs > 100_000 ? curl + 0.006 : curl;
      const next = Math.min(wanted, Math.max(curl, limit));
      const rate = ((next - curl) * 1e6) / STEP_US;
      curl = next;
      ({ surface } = at(curl, rate, nowUs));
      for (const { app, layer, expiresUs } of touches.live) {
        resistance.request(app, layer, requests.stops, requests.efforts, expiresUs - nowUs, nowUs);
      }
      resistance.step(nowUs, all(curl), all(1), nowUs, true, all(rate));
      const stop = resistance.status.stops[2];
      if (nowUs > 700_000 && stop < lastStop - 1e-6) turns++;
      lastStop = stop;
    }
    return { curl, surface, turns };
  }

  it('holds a closing hand at the surface, without turning the servo to and fro', () => {
    const { curl, surface, turns } = grasp({});
    expect(Math.abs(curl - surface)).toBeLessThan(0.01);
    expect(turns).toBe(0);
  });

  it('lets it sink into a soft surface and no further', () => {
    const { curl, surface, turns } = grasp({ stiffness: 800 });
    expect(curl).toBeGreaterThan(surface + 0.01);
    expect(curl).toBeLessThan(surface + 0.12);
    expect(turns).toBe(0);
  });
});
