import { describe, expect, it } from 'vitest';
import { stopSpeedsOf } from '../../src/resistance/actuators.js';
import { Arrivals } from '../../src/resistance/arrival.js';
import { makeGovernorOutputs } from '../../src/resistance/governor-step.js';
import { GUARDS } from '../../src/resistance/guards.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { all, FIVE_SERVOS, SAFETY, servo } from './profiles.js';

const STEP_US = 4000;

/**
 * A finger that closes at a steady speed, and a servo of the profile's speed that goes where it is told; the
 * string holds the finger where it meets the stop.
 * @returns how far the finger was drawn open by the servo, curl
 */
function closingFinger(speed: number, predict: boolean, guards = GUARDS) {
  const resistance = new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS, guards });
  resistance.step(0, all(0), all(1), 0, true);
  resistance.arm(0, 'wearer');
  let finger = 0.2;
  let spool = 1;
  let furthest = 0;
  let drawn = 0;
  let last = finger;
  for (let nowUs = STEP_US; nowUs < 1_500_000; nowUs += STEP_US) {
    const closing = Math.min(1, finger + (speed * STEP_US) / 1e6);
    finger = Math.min(closing, Math.max(spool, 0));
    // The app is late: the finger is already on its way when it says where the surface is.
    if (finger > 0.35 || resistance.status.held[1] === 1) {
      resistance.requestFingers('app', { index: { stopAt: 0.4, effort: 1 } }, 500, nowUs);
    }
    const rate = ((finger - last) * 1e6) / STEP_US;
    last = finger;
    resistance.step(nowUs, all(finger), all(1), nowUs, true, predict ? all(rate) : undefined);
    const target = resistance.status.held[1] === 1 ? resistance.status.stops[1] : 1;
    const reach = (FIVE_SERVOS[1].speedCurlPerS * STEP_US) / 1e6;
    spool += Math.max(-reach, Math.min(reach, target - spool));
    furthest = Math.max(furthest, finger);
    drawn = Math.max(drawn, furthest - finger);
  }
  return { drawn, rest: finger };
}

describe('where a finger is when its servo arrives', () => {
  it('keeps a servo that comes late from drawing the finger open', () => {
    const without = GUARDS.filter(({ name }) => name !== 'notBehindFinger');
    expect(closingFinger(4, false, without).drawn).toBeGreaterThan(0.05);
    // The governor sees to it by itself; the prediction has the stop out of the way before it has to.
    expect(closingFinger(4, false).drawn).toBeLessThan(0.02);
    expect(closingFinger(4, true).drawn).toBeLessThan(0.02);
  });

  it('still holds the finger, and leaves a slow one where it was asked for', () => {
    expect(closingFinger(4, true).rest).toBeLessThan(0.8);
    expect(closingFinger(0.3, true).rest).toBeLessThan(0.42);
  });

  it('predicts nothing for a free finger, a brake, or a finger without a rate', () => {
    const { arrivals, predicted } = brakeOnIndex();
    expect(predicted(all(0))).toEqual(all(0.3));
    expect(predicted(all(1))[1]).toBe(0.3);
    expect(predicted(all(1))[0]).toBeGreaterThan(0.35);
    arrivals.predict(all(0.3), undefined, all(0.5), all(1));
    expect([...arrivals.curls]).toEqual(all(0.3));
  });

  it('never says less than is measured, and leaves to the governor what is not a number', () => {
    const { arrivals } = brakeOnIndex();
    arrivals.predict(all(0.3), all(-5), all(0.5), all(1));
    expect([...arrivals.curls]).toEqual(all(0.3));
    arrivals.predict(all(Number.NaN), all(1), all(0.5), all(1));
    expect([...arrivals.curls]).toEqual(all(Number.NaN));
    arrivals.predict(all(0.3), all(Number.NaN), all(0.5), all(1));
    expect([...arrivals.curls]).toEqual(all(0.3));
  });

  it('knows a servo that has had time to be at its stop', () => {
    const { arrivals, predicted } = brakeOnIndex();
    const [early] = predicted(all(1));
    const given = makeGovernorOutputs();
    given.held[0] = 1;
    given.stops[0] = 0.5;
    arrivals.move(0, given);
    arrivals.move(500_000, given);
    // What is left is the delay: 15 ms at 1 a second.
    expect(predicted(all(1))[0]).toBeCloseTo(0.315, 9);
    expect(early).toBeGreaterThan(0.38);
  });
});

function brakeOnIndex() {
  const speeds = [5, 0, 5, 5, 5];
  const arrivals = new Arrivals(speeds);
  const predicted = (efforts: number[]) => {
    arrivals.predict(all(0.3), all(1), all(0.5), efforts);
    return [...arrivals.curls];
  };
  return { arrivals, predicted };
}

it('takes the slowest of several string stops on a finger, and none for a brake', () => {
  const speeds = stopSpeedsOf([
    servo('thumb', { speedCurlPerS: 4 }),
    servo('thumb', { speedCurlPerS: 3 }),
    servo('index', { kind: 'brake' }),
    undefined,
  ]);
  expect(speeds).toEqual([3, 0, 0, 0, 0]);
});
