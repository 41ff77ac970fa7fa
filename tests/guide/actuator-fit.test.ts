import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createActuatorFit } from '../../src/guide/actuator-fit.js';
import { mergeStops } from '../../src/guide/merge-fit.js';
import { stopsToFit } from '../../src/guide/stops-to-fit.js';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { FIVE_SERVOS, SAFETY, servo } from '../resistance/profiles.js';
import { wear } from './fitting-wearer.js';

const off = ({ open, closed }: { open: number; closed: number }, result: ReturnType<typeof wear>) => {
  const [found] = result.fit.fitted;
  return found ? [Math.abs(found.stopAtOpen - open), Math.abs(found.stopAtClosed - closed)] : [9, 9];
};

describe('the fit of a string stop', () => {
  it.each([
    { open: 0, closed: 1 },
    { open: 0.2, closed: 0.9 },
    { open: 0.4, closed: 0.75 },
    { open: -0.1, closed: 1.3 },
    { open: 1, closed: 0, said: [1, 0] as const },
    { open: 0.8, closed: 0.15, said: [0.6, 0.5] as const },
  ])('finds stops at %j', (wearer) => {
    const result = wear(wearer);
    expect(result.fit.unfitted).toEqual([]);
    for (const error of off(wearer, result)) expect(error).toBeLessThan(0.03);
    expect(result.fit.fitted[0]).toMatchObject({ role: 'index', points: 3 });
    expect(result.fit.fitted[0].residual).toBeLessThan(0.02);
    expect(result.broken).toEqual([]);
    // Never wound to behind the open finger.
    expect(result.drawnMost).toBeLessThanOrEqual(0.02);
  });

  it('finds any place and range, with tidy and sloppy wearers, or says why not; and never guesses', () => {
    let found = 0;
    let runs = 0;
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 0.45, noNaN: true }),
        fc.double({ min: 0.35, max: 1, noNaN: true }),
        fc.boolean(),
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.integer({ min: 1, max: 1000 }),
        (open, range, reversed, sloppiness, seed) => {
          const closed = Math.min(1.1, open + range);
          const truth = reversed ? { open: 1 - open, closed: 1 - closed } : { open, closed };
          const result = wear({ ...truth, said: reversed ? [1, 0] : [0, 1], sloppiness, seed });
          expect(result.broken).toEqual([]);
          expect(result.fit.phase).toBe('done');
          expect(result.drawnMost).toBeLessThanOrEqual(0.05);
          runs++;
          if (result.fit.fitted.length === 0) return;
          found++;
          for (const error of off(truth, result)) expect(error).toBeLessThan(0.03);
        },
      ),
      { numRuns: 40, seed: 5, endOnFailure: true },
    );

    expect(found / runs).toBeGreaterThan(0.9);
  });

  it('says what to do, in the words of a person, and in 80 columns', () => {
    const { prompts } = wear({ open: 0, closed: 1 });
    expect(prompts[0]).toMatch(/arm/);
    expect(prompts).toContain('Open the index finger, and keep it open.');
    expect(prompts).toContain('Close the index finger gently until it stops, and keep it there.');
    for (const prompt of prompts) expect(prompt.length).toBeLessThanOrEqual(72);
  });

  it.each([
    ['neverStopped', { open: 0, closed: 1, unhooked: true }],
    ['neverStopped', { open: -2, closed: -1 }],
    ['taut', { open: 0.95, closed: 2 }],
    // The profile has it the wrong way round: what is taken for paid out is wound up.
    ['drawn', { open: 0.85, closed: 0.1 }],
    ['notClosed', { open: 0, closed: 1, meddle: trembling }],
    ['notOpened', { open: 0, closed: 1, meddle: () => ({ curl: 0.3 }) }],
    ['freed', { open: 0, closed: 1, meddle: shying }],
  ] as const)('refuses: %s', (trouble, wearer) => {
    const { fit, broken } = wear(wearer);
    expect(fit.phase).toBe('done');
    expect(fit.fitted).toEqual([]);
    expect(fit.unfitted).toMatchObject([{ role: 'index', trouble }]);
    expect(fit.unfitted[0].remedy.length).toBeGreaterThan(20);
    expect(broken).toEqual([]);
  });

  it('is given the string model of its finger', () => {
    const travel = (curl: number) => curl ** 1.3;
    const actuators = [servo('index')];
    const [stop] = stopsToFit(actuators, [travel]);
    expect(stop.travel).toBe(travel);
  });

  it('fits one string stop a finger, and no brakes', () => {
    expect(stopsToFit(FIVE_SERVOS, [])).toHaveLength(5);
    const others = [servo('index', { kind: 'brake' }), servo('ring'), servo('ring'), undefined];
    expect(stopsToFit(others, [])).toEqual([]);
    expect(createActuatorFit([]).phase).toBe('done');
  });

  it('is laid over the profile, unless the servo has been turned since', () => {
    const glove = { actuators: [servo('index'), servo('ring', { kind: 'brake' })] };
    const fit = { stopAtOpen: 0.1, stopAtClosed: 0.8 };
    const both = [
      { role: 'index' as const, ...fit },
      { role: 'ring' as const, ...fit },
    ];
    expect(mergeStops(glove, both).actuators).toEqual([
      { ...glove.actuators[0], ...fit },
      glove.actuators[1],
    ]);
    const turned = { actuators: [servo('index', { stopAtOpen: 1, stopAtClosed: 0 })] };
    expect(mergeStops(turned, both)).toEqual(turned);
  });
});

describe('safety of the fit', () => {
  it('keeps every promise whatever goes wrong, and never moves a stop while the finger is not open', () => {
    let held = 0;
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 1e6 }), (seed) => {
        let random = seed;
        const chance = () => {
          random = (random * 16807) % 2147483647;
          return random / 2147483647;
        };
        let until = 0;
        let fault: object = {};
        const result = wear({
          open: 0.1,
          closed: 0.9,
          sloppiness: 1,
          seed,
          steps: 3000,
          meddle(step, { resistance, nowUs }) {
            if (step >= until) {
              until = step + 1 + Math.floor(chance() * 60);
              const kind = Math.floor(chance() * 16);
              fault =
                [
                  { healthy: false },
                  { live: false },
                  { ageUs: 150_000 },
                  { curl: chance() },
                  { curl: Number.NaN },
                  { mute: true },
                  { missed: 40 },
                ][kind] ?? {};
              if (kind === 8) resistance.disarm(nowUs, 'test');
              if (kind === 9) {
                resistance.arm(nowUs, 'test');
                resistance.beginProbing();
              }
            }
            if (!resistance.armed && chance() < 0.02) {
              resistance.arm(nowUs, 'test');
              resistance.beginProbing();
            }
            return fault;
          },
        });
        expect(result.broken).toEqual([]);
        held += result.heldSteps;
      }),
      { numRuns: 25, seed: 7 },
    );
    // It does hold fingers: what gives nothing would be safe and useless.
    expect(held).toBeGreaterThan(2000);
  });

  /** Held still at the paid-out end, with the finger open. */
  function holding(other: Parameters<typeof servo>[1] = {}) {
    const actuators = FIVE_SERVOS.map(({ role }) => servo(role, other));
    const resistance = new Resistance({ safety: SAFETY, actuators });
    const curls = new Float64Array(5);
    const healthy = new Uint8Array(5).fill(1);
    let nowUs = 1_000_000;
    const step = (live = true, ageUs = 0, ask = true) => {
      nowUs += 10_000;
      if (ask) resistance.probe(1, 0.8, 0.4, nowUs);
      resistance.step(nowUs, curls, healthy, nowUs - ageUs, live);
      return resistance.commands.stops[1] !== STOP_FREE;
    };
    resistance.arm(nowUs, 'test');
    const heldBefore = step();
    resistance.beginProbing();
    for (let i = 0; i < 100; i++) step();
    return { resistance, curls, healthy, step, heldBefore, now: () => nowUs };
  }

  it('opens the door only between beginProbing and its end, and only when armed', () => {
    const { resistance, step, heldBefore } = holding();
    expect(heldBefore).toBe(false);
    expect(step()).toBe(true);
    expect(resistance.probed).toBeCloseTo(0.8);
    resistance.endProbing();
    expect(step()).toBe(false);
    const cold = new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS });
    expect(cold.beginProbing()).toBe(false);
  });

  it('serves no app meanwhile, and holds no other finger', () => {
    const { resistance, step, now } = holding();
    const refusal = resistance.requestFingers('app', { ring: { stopAt: 0.5, effort: 1 } }, 250, now());
    expect(refusal?.code).toBe('notSupported');
    expect(resistance.pulse(now(), 'index', 1, 50)?.code).toBe('notSupported');
    step();
    expect([...resistance.status.held]).toEqual([0, 1, 0, 0, 0]);
  });

  it.each([
    ['disarmed', (h) => h.resistance.disarm(h.now(), 'test') && h.step()],
    ['shut down', (h) => h.resistance.shutdown(h.now()) && h.step()],
    ['stale', (h) => h.step(true, 150_000)],
    ['without a link', (h) => h.step(false)],
    ['faulty', (h) => h.healthy.fill(0) && h.step()],
    ['not a number', (h) => h.curls.fill(Number.NaN) && h.step()],
    ['expired', (h) => Array.from({ length: 40 }, () => h.step(true, 0, false)).at(-1)],
  ] as [string, (h: ReturnType<typeof holding>) => boolean][])(
    'frees when %s, and does not come back half-way',
    (_, act) => {
      const h = holding();
      expect(act(h)).toBe(false);
      expect(h.resistance.probed).toBeNaN();
      h.curls.fill(0);
      h.healthy.fill(1);
      const again = h.step();
      if (again) expect(h.resistance.probed).toBeGreaterThan(0.99);
    },
  );

  it('counts a probed finger as pressing, for heat', () => {
    const { resistance, step } = holding();
    const before = resistance.status.heats[1];
    for (let i = 0; i < 300; i++) step();
    expect(resistance.status.heats[1]).toBeGreaterThan(before);
  });

  it('counts a hobby servo with its stall while the finger is not open, and with its effort while it is', () => {
    const { resistance, curls, step } = holding({ torqueControl: false, spoolRadiusMm: 20 });
    const heat = () => resistance.status.heats[1];
    for (let i = 0; i < 100; i++) step();
    const open = heat();
    expect(open).toBeGreaterThan(0);
    curls[1] = 0.2;
    for (let i = 0; i < 200; i++) step();
    expect(heat() - open).toBeGreaterThan(3 * open);
  });
});

function trembling(step: number, { held, curl }: { held: boolean; curl: number }) {
  return held && curl > 0.12 ? { curl: curl + 0.05 * Math.sin(step / 3) } : {};
}

/** Closes whenever its stop begins to move. */
function shying(_step: number, { held }: { held: boolean }) {
  return held ? { curl: 0.3 } : {};
}
