import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { askRadius, askTorque, kgCmInNm } from '../../src/config/plausible-parts.js';

// NIST SP 811 (2008), appendix B.8, from memory: 1 kilogram-force meter is 9.806 65 newton meter, exactly.
it('knows what a kg·cm is', () => {
  expect(kgCmInNm(100)).toBe('100 kg·cm is 9.81 N·m');
  expect(kgCmInNm(1.5)).toBe('1.5 kg·cm is 0.147 N·m');
});

describe('figures of parts', () => {
  it('lets the torque of every servo that fits a glove pass, and asks about the same in kg·cm', () => {
    // 1 to 9 kg·cm: from a 5 g servo to one of standard size. Common practice, no source.
    fc.assert(
      fc.property(fc.double({ min: 1, max: 9, noNaN: true }), (kgCm) => {
        expect(askTorque(kgCm * 0.0980665)).toBeUndefined();
        expect(askTorque(kgCm)).toContain('did you mean kg·cm');
      }),
    );
  });

  it.each([
    [
      1.5,
      /^1\.5 N·m is more .*; did you mean kg·cm, as data sheets give it\? 1\.5 kg·cm is 0\.147 N·m\. If it really/,
    ],
    [25, /25 kg·cm is 2\.45 N·m/],
    [147, /did you mean mN·m\? 147 mN·m is 0\.147 N·m\./],
    [0.0015, /^0\.0015 N·m is less than the smallest servo has/],
  ])('asks about a torque of %d N·m', (nm, asks) => {
    expect(askTorque(nm)).toMatch(asks);
  });

  it('lets the radius of every spool pass, and asks about the same in metres', () => {
    fc.assert(
      fc.property(fc.double({ min: 1.5, max: 50, noNaN: true }), (mm) => {
        expect(askRadius(mm)).toBeUndefined();
        expect(askRadius(mm / 1000)).toContain('did you mean metres');
      }),
    );
  });

  it.each([
    [0.02, /^0\.02 mm is thinner .*; did you mean metres\? 0\.02 m is 20 mm$/],
    [1, /did you mean cm\? 1 cm is 10 mm$/],
    [0.0001, /; give it in mm$/],
    [63, /^63 mm is wider .*; give the radius, from the axis to the string, in mm$/],
  ])('asks about a radius of %d mm', (mm, asks) => {
    expect(askRadius(mm)).toMatch(asks);
  });
});
