import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { TORQUE_NM } from '../../src/config/plausible-parts.js';
import type { ActuatorProfile } from '../../src/config/schema.js';
import { unusedOf } from '../../src/resistance/unused.js';
import { unusedLines } from '../../src/resistance/unused-lines.js';
import { GovernedHand } from './governed-hand.js';
import { SAFETY, servo } from './profiles.js';

/** Whether the governor ever holds the index finger, asked firmly and gently, for a second each. */
function everHeld(actuators: ActuatorProfile[], safety: Partial<typeof SAFETY> = {}): boolean {
  return [1, 0.05].some((effort) => {
    const hand = new GovernedHand(actuators, safety).ask(0.5, effort);
    for (let n = 0; n < 250; n++) if (hand.step().held) return true;
    return false;
  });
}

const figures = fc.record({
  stallTorqueNm: fc.double({ min: TORQUE_NM.least, max: 0.999, noNaN: true }),
  spoolRadiusMm: fc.double({ min: 1.5, max: 50, noNaN: true }),
  stallCurrentA: fc.double({ min: 0.1, max: 6, noNaN: true }),
  torqueControl: fc.boolean(),
  kind: fc.constantFrom('stringStop' as const, 'brake' as const),
});

describe('an actuator that is never used', () => {
  it('is exactly one whose finger the governor never holds', () => {
    fc.assert(
      fc.property(
        fc.array(figures, { minLength: 1, maxLength: 2 }),
        fc.double({ min: 0.5, max: 50, noNaN: true }),
        (parts, maxTensionN) => {
          const actuators = parts.map((part) => servo('index', part));
          const safety = { ...SAFETY, maxTensionN };
          const unused = unusedOf(actuators, safety);
          expect(new Set(unused.map((one) => one !== undefined))).toEqual(
            new Set([!everHeld(actuators, safety)]),
          );
        },
      ),
    );
  });

  it('is used once it has the radius that is advised', () => {
    fc.assert(
      fc.property(figures, (part) => {
        const own = servo('index', { ...part, kind: 'stringStop', torqueControl: false, stallCurrentA: 0.7 });
        const [unused] = unusedOf([own], SAFETY);
        const advised = unused?.remedy.match(/spoolRadiusMm of ([\d.]+) or more/)?.[1];
        if (advised === undefined) return;
        expect(Number(advised)).toBeLessThanOrEqual(50);
        expect(everHeld([{ ...own, spoolRadiusMm: Number(advised) }])).toBe(true);
        // And not much before.
        expect(everHeld([{ ...own, spoolRadiusMm: Number(advised) - 0.2 }])).toBe(false);
      }),
    );
  });

  // A 9 g hobby servo stalls near 0.15 N·m at 4.8 V: common practice, no source.
  const hobby = { stallTorqueNm: 0.15, torqueControl: false };

  it('says how hard it pulls, by which keys, and what to do', () => {
    const [unused] = unusedOf([servo('index', { ...hobby, spoolRadiusMm: 10 })], SAFETY);
    expect(unused).toEqual({
      reason:
        'the servo pulls up to 15 N (stallTorqueNm 0.15 at spoolRadiusMm 10), more than the 8 N of safety.maxTensionN, ' +
        'and a hobby servo cannot pull less',
      remedy:
        'Use a spoolRadiusMm of 18.8 or more or a weaker servo, or set torqueControl if its drive limits its torque to ' +
        'the effort. Raise safety.maxTensionN only with care.',
    });
  });

  it('asks whether a figure is in another unit where it well may be', () => {
    const remedy = (part: Partial<ActuatorProfile>) =>
      unusedOf([servo('index', { ...hobby, ...part })], SAFETY)[0]?.remedy;
    // A 5 g servo of 0.8 kg·cm, and a spool of 20 mm.
    expect(remedy({ stallTorqueNm: 0.8, spoolRadiusMm: 20 })).toMatch(
      / If 0\.8 is kg·cm: 0\.8 kg·cm is 0\.0785 N·m\.$/,
    );
    expect(remedy({ spoolRadiusMm: 2 })).toMatch(/ If 2 is cm: the radius is 20 mm\.$/);
    // No spool that fits a glove would be wide enough.
    expect(remedy({ stallTorqueNm: 0.8, spoolRadiusMm: 20 })).toMatch(/^Use a weaker servo, or set/);
  });

  it('tells of all that act on the finger, and of nothing else', () => {
    const actuators = [
      servo('index', { ...hobby, spoolRadiusMm: 30 }),
      servo('index', { kind: 'brake', stallTorqueNm: 0.1, spoolRadiusMm: 20 }),
      servo('index', { kind: 'vibration' }),
      servo('ring', { ...hobby, spoolRadiusMm: 30 }),
      undefined,
    ];
    const unused = unusedOf(actuators, SAFETY);
    expect(unused.map((one) => one?.reason.slice(0, 62))).toEqual([
      'the servo and what acts beside it pull up to 10 N together (st',
      'the servo and what acts beside it pull up to 10 N together (st',
      undefined,
      undefined,
      undefined,
    ]);
  });

  it('is one, too, that the supply cannot feed even alone', () => {
    const actuators = [servo('index', { ...hobby, spoolRadiusMm: 20, stallCurrentA: 3 })];
    expect(unusedOf(actuators, SAFETY)[0]?.reason).toBe(
      'the servo alone can draw 3 A (stallCurrentA), more than the 2.5 A of safety.maxSupplyA',
    );
    expect(everHeld(actuators)).toBe(false);
  });
});

describe('the lines about them', () => {
  it('name the fingers with the same reason together, thumb first', () => {
    const why = { reason: 'the servo pulls too hard', remedy: 'Use another.' };
    const other = { reason: 'its supply is too weak', remedy: 'Use a stronger one.' };
    expect(
      unusedLines([
        { role: 'ring', unused: why },
        { role: 'index', unused: other },
        { role: 'middle' },
        { role: 'thumb', unused: why },
        { role: 'ring', unused: why },
      ]),
    ).toEqual([
      { says: 'thumb, ring stay free: the servo pulls too hard.', remedy: 'Use another.' },
      { says: 'index stays free: its supply is too weak.', remedy: 'Use a stronger one.' },
    ]);
  });
});
