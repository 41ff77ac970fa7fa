import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import {
  CHAIN_START,
  CLOSING_STEPS,
  coupleArch,
  createClosingProfile,
  createPoses,
  createSkeleton,
  curlAtFlexion,
  curlOf,
  DEFAULT_CLOSING,
  DIP_PER_PIP,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  FINGER_BASE,
  FINGERS,
  forwardKinematics,
  setCurl,
  setCurlRate,
} from '../../src/hand/index.js';
import { monotoneCurve } from '../../src/hand/monotone.js';
import { capsuleGap } from './gap.js';

const profile = createClosingProfile();
const curl = fc.double({ min: 0, max: 1, noNaN: true });
const finger = fc.integer({ min: 0, max: 4 });
const dofsAt = (f: number, c: number) => {
  const dofs = new Float64Array(DOF_COUNT);
  setCurl(profile, f, c, dofs);
  return dofs;
};

describe('closing profile', () => {
  it('never opens a joint as curl grows, and stays within the ranges', () => {
    fc.assert(
      fc.property(finger, curl, curl, (f, a, b) => {
        const less = dofsAt(f, Math.min(a, b));
        const more = dofsAt(f, Math.max(a, b));
        for (const i of [0, 2, 3]) expect(more[f * 4 + i]).toBeGreaterThanOrEqual(less[f * 4 + i]);
        for (let i = 0; i < 4; i++) {
          expect(more[f * 4 + i]).toBeGreaterThanOrEqual(DOF_MIN[f * 4 + i]);
          expect(more[f * 4 + i]).toBeLessThanOrEqual(DOF_MAX[f * 4 + i] + 1e-12);
        }
      }),
    );
  });

  it('couples DIP to PIP all along', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 4 }), curl, (f, c) => {
        const dofs = dofsAt(f, c);
        expect(dofs[f * 4 + 3]).toBeCloseTo(DIP_PER_PIP * dofs[f * 4 + 2], 12);
      }),
    );
  });

  it('holds its ends outside 0..1 and leaves abduction and other fingers alone', () => {
    for (let f = 0; f < 5; f++) {
      expect(dofsAt(f, -1)).toEqual(dofsAt(f, 0));
      expect(dofsAt(f, 2)).toEqual(dofsAt(f, 1));
      const dofs = new Float64Array(DOF_COUNT).fill(0.123);
      setCurl(profile, f, 0.5, dofs);
      for (let i = 0; i < DOF_COUNT; i++) {
        const own = i >= f * 4 && i < f * 4 + 4 && !(f > 0 && i === f * 4 + 1);
        if (!own) expect(dofs[i]).toBe(0.123);
      }
    }
  });

  it('inverts: curlOf(setCurl(c)) = c', () => {
    fc.assert(
      fc.property(finger, curl, (f, c) => {
        expect(curlOf(profile, f, dofsAt(f, c))).toBeCloseTo(c, 9);
      }),
    );
    expect(curlAtFlexion(profile, 1, -1)).toBe(0);
    expect(curlAtFlexion(profile, 1, 10)).toBe(1);
  });

  it('gives the rates that go with the angles, and none beyond the ends', () => {
    fc.assert(
      fc.property(finger, fc.integer({ min: 0, max: CLOSING_STEPS - 1 }), (f, row) => {
        const c = (row + 0.5) / CLOSING_STEPS;
        const rates = new Float64Array(DOF_COUNT);
        setCurlRate(profile, f, c, 3, rates);
        const h = 1e-4;
        const before = dofsAt(f, c - 3 * h);
        const after = dofsAt(f, c + 3 * h);
        for (let i = 0; i < DOF_COUNT; i++) expect(rates[i]).toBeCloseTo((after[i] - before[i]) / (2 * h), 6);
      }),
    );
    const rates = new Float64Array(DOF_COUNT).fill(9);
    setCurlRate(profile, 2, 1, 3, rates);
    expect(Array.from(rates.subarray(8, 12))).toEqual([0, 9, 0, 0]);
    setCurlRate(profile, 2, 1, -3, rates);
    expect(rates[8]).toBeLessThan(0);
  });

  it('refuses curves that open again or do not span 0 to 1', () => {
    const index = { ...DEFAULT_CLOSING.index, mcp: [0, 20, 10, 68, 90] };
    expect(() => createClosingProfile({ ...DEFAULT_CLOSING, index })).toThrow(/index must not open again/);
    const ring = { curl: [0, 0.9], mcp: [0, 90], pip: [0, 90] };
    expect(() => createClosingProfile({ ...DEFAULT_CLOSING, ring })).toThrow(/ring must run from curl 0/);
  });
});

describe.each([0.16, 0.19, 0.21])('a hand of %s m closing', (lengthM) => {
  const skeleton = createSkeleton({ side: 'right', lengthM });
  const poses = createPoses();
  const close = (c: number) => {
    const dofs = new Float64Array(DOF_COUNT);
    for (let f = 0; f < FINGERS.length; f++) setCurl(profile, f, c, dofs);
    coupleArch(dofs);
    forwardKinematics(skeleton, dofs, poses);
  };
  const nearest = (from: readonly number[], to: readonly number[]) =>
    Math.min(...from.flatMap((a) => to.map((b) => capsuleGap(poses, a, b))));
  const thumb = [2, 3, 4];
  const bones = (f: number) => [0, 1, 2].map((i) => CHAIN_START[f] + i);

  it('never puts a fingertip into the palm, nor one finger deep into another', () => {
    const metacarpals = FINGER_BASE.slice(1);
    for (let step = 0; step <= 16; step++) {
      close(step / 16);
      for (let f = 1; f < 5; f++) {
        // Middle and distal phalanges; the proximal one grows out of the palm.
        expect(nearest(bones(f).slice(1), metacarpals), `${FINGERS[f]} at ${step}/16`).toBeGreaterThan(0.002);
        expect(nearest(thumb, bones(f)), `thumb and ${FINGERS[f]} at ${step}/16`).toBeGreaterThan(-0.002);
        // Flesh gives: 3 mm between neighbours.
        if (f < 4) expect(nearest(bones(f).slice(1), bones(f + 1).slice(1))).toBeGreaterThan(-0.003);
      }
    }
  });

  describe('to a fist', () => {
    beforeAll(() => close(1));
    const at = (joint: number) => poses.subarray(joint * 8, joint * 8 + 8);

    it('has each fingertip near the palm', () => {
      for (let f = 1; f < 5; f++) {
        expect(nearest([bones(f)[2]], FINGER_BASE.slice(1)), FINGERS[f]).toBeLessThan(0.08 * lengthM);
      }
    });

    it('lays the thumb over index and middle: touching them, on the far side from the palm', () => {
      expect(Math.abs(nearest([4], [bones(1)[1]]))).toBeLessThan(0.003);
      expect(nearest([4], [bones(2)[1]])).toBeLessThan(0.004);
      const tip = at(5);
      for (const f of [1, 2]) expect(tip[1]).toBeLessThan(at(bones(f)[1])[1]);
      expect(tip[0]).toBeGreaterThan(at(bones(1)[1])[0]);
    });
  });
});

describe('monotoneCurve', () => {
  it('passes through its points and never leaves the span between neighbours', () => {
    const points = fc
      .array(
        fc.tuple(fc.double({ min: 0.01, max: 1, noNaN: true }), fc.double({ min: -5, max: 5, noNaN: true })),
        {
          minLength: 2,
          maxLength: 8,
        },
      )
      .map((steps) => {
        let x = 0;
        return steps.map(([dx, y]) => {
          x += dx;
          return [x, y] as const;
        });
      });
    fc.assert(
      fc.property(points, fc.double({ min: 0, max: 1, noNaN: true }), (at, t) => {
        const curve = monotoneCurve(
          at.map(([x]) => x),
          at.map(([, y]) => y),
        );
        for (const [x, y] of at) expect(curve(x)).toBeCloseTo(y, 9);
        for (let i = 0; i + 1 < at.length; i++) {
          const [[x0, y0], [x1, y1]] = [at[i], at[i + 1]];
          const y = curve(x0 + t * (x1 - x0));
          expect(y).toBeGreaterThanOrEqual(Math.min(y0, y1) - 1e-9);
          expect(y).toBeLessThanOrEqual(Math.max(y0, y1) + 1e-9);
        }
      }),
    );
  });

  it('refuses points that do not increase', () => {
    expect(() => monotoneCurve([0, 1, 1], [0, 1, 2])).toThrow(/must increase/);
    expect(() => monotoneCurve([0], [0])).toThrow(/two or more/);
  });
});
