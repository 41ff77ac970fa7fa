import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  curlOnArrival,
  type Felt,
  knock,
  MAX_LEAD_S,
  roughen,
  softDepth,
  soften,
} from '../../src/resistance/feel.js';

const unit = fc.integer({ min: 0, max: 1000 }).map((n) => n / 1000);
const felt: Felt = { stopAt: 0, effort: 0 };
const at = (curl: number, depth: number, hasStop = true) => {
  soften(0.4, depth, 0.8, curl, hasStop, felt);
  return { ...felt };
};

describe('a soft surface', () => {
  it('is as deep as its spring under the full force', () => {
    // 8 N on 1000 N/m is 8 mm, of a path of 80 mm.
    expect(softDepth(1000, 8, 0.08)).toBeCloseTo(0.1, 12);
  });

  it.each([0, -1, Number.NaN, Number.POSITIVE_INFINITY])('is hard at a stiffness of %s', (stiffness) => {
    expect(softDepth(stiffness, 8, 0.08)).toBe(0);
  });

  it('waits at the surface, gives way ever more slowly with growing effort, and holds at its end', () => {
    expect(at(0.3, 0.1).stopAt).toBe(0.4);
    expect(at(0.3, 0.1).effort).toBeCloseTo(0.08, 12);
    expect(at(0.45, 0.1).stopAt).toBeCloseTo(0.46, 12);
    expect(at(0.45, 0.1).effort).toBeCloseTo(0.4, 12);
    expect(at(0.49, 0.1).stopAt).toBeCloseTo(0.492, 12);
    expect(at(0.7, 0.1)).toEqual({ stopAt: 0.5, effort: 0.8 });
  });

  it('drags on a brake, which knows no stop, from the surface on', () => {
    expect(at(0.39, 0.1, false)).toEqual({ stopAt: 0.4, effort: 0 });
    expect(at(0.45, 0.1, false).stopAt).toBe(0.4);
    expect(at(0.45, 0.1, false).effort).toBeCloseTo(0.4, 12);
  });

  it('is a plain stop when it is hard, before and after contact', () => {
    expect(at(0.2, 0)).toEqual({ stopAt: 0.4, effort: 0.8 });
    expect(at(0.6, 0)).toEqual({ stopAt: 0.4, effort: 0.8 });
  });

  it('never pulls inside its depth, and its effort never falls with depth', () => {
    fc.assert(
      fc.property(unit, unit, unit, unit, (surface, depth, curl, further) => {
        soften(surface, depth, 1, curl, true, felt);
        const { stopAt, effort } = felt;
        if (depth > 0 && curl <= surface + depth)
          expect(stopAt).toBeGreaterThanOrEqual(Math.min(curl, 1) - 1e-12);
        soften(surface, depth, 1, Math.max(curl, further), true, felt);
        expect(felt.effort).toBeGreaterThanOrEqual(effort - 1e-12);
      }),
    );
  });
});

describe('texture and knock', () => {
  it('are never more than the effort, and never negative', () => {
    fc.assert(
      fc.property(
        unit,
        fc.double({ noNaN: true }),
        fc.integer({ min: 1, max: 200 }),
        fc.nat(1e9),
        fc.integer({ min: -9, max: 9 }),
        (effort, amplitude, frequencyHz, timeUs, speed) => {
          for (const value of [
            roughen(effort, amplitude, frequencyHz, timeUs, speed),
            knock(effort, timeUs / 1e9, speed),
          ]) {
            expect(value).toBeGreaterThanOrEqual(0);
            expect(value).toBeLessThanOrEqual(effort);
          }
        },
      ),
    );
  });

  it('a texture dips once a period while the finger moves and is still while it rests', () => {
    expect(roughen(1, 0.5, 50, 10_000, 1)).toBeCloseTo(0.5, 9);
    expect(roughen(1, 0.5, 50, 20_000, 1)).toBeCloseTo(1, 9);
    expect(roughen(1, 0.5, 50, 10_000, 0)).toBe(1);
  });

  it('a knock dies away to what is held; a slow touch has none', () => {
    expect(knock(1, 0, 3)).toBe(1);
    expect(knock(1, 1, 3)).toBeCloseTo(0.7, 6);
    expect(knock(1, 1, 0)).toBe(1);
  });
});

describe('the finger when the servo arrives', () => {
  it('has gone on for the delay and the travel of the servo', () => {
    // 0.1 of the travel at 5 a second and 10 ms: 30 ms at 1 a second.
    expect(curlOnArrival(0.3, 1, 0.7, 0.6, 5, 0.01)).toBeCloseTo(0.33, 12);
    expect(curlOnArrival(0.3, -1, 0.7, 0.6, 5, 0.01)).toBeCloseTo(0.27, 12);
  });

  it('is where the two meet, if that is sooner', () => {
    // From 0.3 at 3 a second and from 0.7 at 5: they meet after 50 ms; without a delay to start.
    expect(curlOnArrival(0.3, 3, 0.7, 0.1, 5, 0)).toBeCloseTo(0.45, 12);
    // Already pressed: what is left is the delay.
    expect(curlOnArrival(0.5, 3, 0.4, 0.1, 5, 0.01)).toBeCloseTo(0.5 + (3 * 0.05) / 8, 12);
  });

  it('is not predicted beyond its range, nor further than MAX_LEAD_S', () => {
    expect(curlOnArrival(0.99, 4, 1, 0, 0.5, 0.02)).toBe(1);
    expect(curlOnArrival(0.3, 1, 1, 0, 0.5, 0)).toBeCloseTo(0.3 + MAX_LEAD_S, 12);
    expect(curlOnArrival(0.3, Number.NaN, 1, 0, 5, 0)).toBe(0.3);
  });
});
