import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Resistance } from '../../src/resistance/resistance.js';
import { canTell, type StartingValue, startingValues } from '../../src/resistance/starting-values.js';
import { FEEL_RANGE, FEEL_TRIAL, FEELS, type WearerFeel } from '../../src/resistance/wearer-feel.js';
import { all, FIVE_SERVOS, SAFETY, servo } from './profiles.js';

const STEP_US = 4000;
const FRAMES = { pulses: true, paysOut: false };
const TEXT = { pulses: false, paysOut: true };

function hand(wearer?: WearerFeel, actuators = FIVE_SERVOS) {
  const resistance = new Resistance({ safety: SAFETY, actuators, ...(wearer ? { wearer } : {}) });
  resistance.arm(0, 'wearer');
  let nowUs = 0;
  const curls = all(0);
  /** Effort on the wire of the index finger after a while of asking, its finger closing to the stop. */
  const ask = (effort: number, app = 'app') => {
    for (let n = 0; n < 250; n++) {
      nowUs += STEP_US;
      for (let finger = 0; finger < 5; finger++) curls[finger] = Math.min(0.5, nowUs / 1e6);
      resistance.request(app, '', all(0.5), all(effort), undefined, nowUs);
      resistance.step(nowUs, curls, all(1), nowUs, true);
    }
    return resistance.commands.efforts[1];
  };
  return { resistance, ask, now: () => nowUs };
}

describe("the wearer's own settings", () => {
  it('take away from what is asked, and never add to it', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.05, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (effort, asked) => {
          const plain = hand().ask(asked);
          const own = hand({ effort }).ask(asked);
          expect(own).toBeLessThanOrEqual(plain);
          expect(own).toBeCloseTo(plain * effort, -0.4);
        },
      ),
      { numRuns: 30 },
    );
  });

  it('are left out of a trial, whose values are felt as they are', () => {
    const { resistance, ask } = hand({ effort: 0.3 });
    resistance.trial = true;
    expect(ask(0.8, FEEL_TRIAL)).toBe(hand().ask(0.8));
  });

  it('scale pulses in strength and in length', () => {
    const motor = servo('index', { kind: 'vibration' });
    const pulsed = (wearer: WearerFeel, by = 'app') => {
      const { resistance, now } = hand(wearer, [motor]);
      resistance.step(now() + STEP_US, all(0.2), all(1), now() + STEP_US, true);
      expect(resistance.pulse(now() + STEP_US, 'index', 0.8, 200, 150, by)).toBeUndefined();
      const { amplitudes, durationsMs } = resistance.pulses;
      return [amplitudes[0], durationsMs[0]];
    };
    expect(pulsed({})).toEqual([Math.floor(0.8 * 255), 200]);
    expect(pulsed({ knock: 0.5 })).toEqual([Math.floor(0.4 * 255), 100]);
    expect(pulsed({ knock: 0.5 }, FEEL_TRIAL)).toEqual([Math.floor(0.8 * 255), 200]);
  });
});

describe('a trial', () => {
  it('drops what apps hold, and hears nobody else until it is over', () => {
    const { resistance, ask, now } = hand();
    expect(ask(1)).toBeGreaterThan(0);
    resistance.trial = true;
    resistance.step(now() + STEP_US, all(0.5), all(1), now() + STEP_US, true);
    expect(resistance.commands.efforts[1]).toBe(0);
    expect(resistance.request('app', '', all(0.5), all(1), undefined, now())?.message).toMatch(
      /The wearer tries/,
    );
    expect(resistance.pulse(now(), 'index', 1, 100)?.message).toMatch(/The wearer tries/);
    // Letting go is always heard.
    expect(resistance.pulse(now(), 'index', 0, 0)).toBeUndefined();
    resistance.trial = false;
    expect(ask(1)).toBeGreaterThan(0);
  });
});

describe('where to begin', () => {
  const of = (list: StartingValue[]) => Object.fromEntries(list.map((one) => [one.what, one]));

  it('for a drive that heeds effort: worked by hand', () => {
    // 0.15 N m over 10 mm stalls at 15 N, capped to 8: 3 / 8 of it is 3 N. At the pad, by virtual work, 0.38 x 8 N x 43 mm
    // over 169 mm is 0.77 N; after a tenth of 169 mm that is 0.77 / 0.0169 = 46 N/m.
    const values = of(startingValues(servo('index'), SAFETY, FRAMES));
    expect(values.effort).toMatchObject({ value: 0.38, against: 0.76 });
    expect(values.stiffness).toMatchObject({ value: 46, against: 92 });
    expect(values.texture).toMatchObject({ value: 0.3, against: 0.6 });
    expect(values.knock.value).toBe(0.6);
    expect(values.slack).toEqual({ what: 'slack', why: expect.stringContaining('pins.h') });
  });

  it('for a hobby servo of a text glove: what it cannot do is said', () => {
    // 0.15 N m over 20 mm: 7.5 N. The string stretches by 1.5 mm; twice that of 43 mm is 0.07.
    const values = of(
      startingValues(servo('index', { torqueControl: false, spoolRadiusMm: 20 }), SAFETY, TEXT),
    );
    expect(values.effort).toEqual({ what: 'effort', why: 'It holds with all it has or not at all.' });
    expect(values.texture.value).toBeUndefined();
    expect(values.stiffness.value).toBe(110);
    expect(values.knock.value).toBeUndefined();
    expect(values.slack).toMatchObject({ value: 0.07, against: 0.14 });
    // One that is over the cap is never used, so nothing of it can be tried.
    const strong = startingValues(servo('index', { torqueControl: false }), SAFETY, FRAMES);
    for (const { what, value } of strong) expect(value, what).toBeUndefined();
  });

  it('is always inside the range, and against something that a hand can tell', () => {
    const actuator = fc.record({
      kind: fc.constantFrom('stringStop', 'brake', 'vibration') as fc.Arbitrary<'stringStop'>,
      stallTorqueNm: fc.double({ min: 0.005, max: 0.99, noNaN: true }),
      spoolRadiusMm: fc.double({ min: 1.5, max: 50, noNaN: true }),
      torqueControl: fc.boolean(),
    });
    fc.assert(
      fc.property(
        actuator,
        fc.double({ min: 0.5, max: 50, noNaN: true }),
        fc.boolean(),
        (data, cap, plain) => {
          const values = startingValues(servo('index', data), { maxTensionN: cap }, plain ? TEXT : FRAMES);
          expect(values.map(({ what }) => what)).toEqual([...FEELS]);
          for (const { what, value, against, why } of values) {
            expect(why).toMatch(/\.$/);
            if (value === undefined) continue;
            const { least, most } = FEEL_RANGE[what];
            for (const one of [value, against!]) {
              expect(one).toBeGreaterThanOrEqual(least);
              expect(one).toBeLessThanOrEqual(most);
            }
            expect(canTell(what, value, against!)).toBe(true);
          }
        },
      ),
    );
  });
});
