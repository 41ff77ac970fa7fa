import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  abductionLimit,
  CHAIN_START,
  clampDofs,
  coupleArch,
  coupleDip,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  FINGERS,
  forwardKinematics,
  LITTLE_ARCH,
  limitAbduction,
  RING_ARCH,
  setHandSplay,
  setSplay,
} from '../../src/hand/index.js';
import { dofIndex } from './chain.js';
import { capsuleGap } from './gap.js';

const degrees = (radians: number) => (radians * 180) / Math.PI;
const radians = (value: number) => (value * Math.PI) / 180;

describe('coupling', () => {
  it('DIP is two thirds of PIP (Rijpkema & Girard, 1991)', () => {
    const dofs = new Float64Array(DOF_COUNT);
    for (const [finger, name] of FINGERS.entries()) {
      if (name === 'thumb') continue;
      dofs[dofIndex(`${name}.pip`)] = radians(90);
      coupleDip(dofs, finger);
      expect(degrees(dofs[dofIndex(`${name}.dip`)])).toBeCloseTo(60, 9);
    }
  });

  it('abduction narrows from 15 degrees at MCP 0 to none at MCP 90 (Lin, Wu & Huang, 2000)', () => {
    expect(degrees(abductionLimit(0))).toBeCloseTo(15, 9);
    expect(degrees(abductionLimit(radians(45)))).toBeCloseTo(7.5, 9);
    expect(abductionLimit(radians(90))).toBe(0);
    expect(abductionLimit(radians(120))).toBe(0);
    expect(degrees(abductionLimit(radians(-10)))).toBeCloseTo(15, 9);
  });

  it('no splay or abduction leaves that range', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 4 }),
        fc.double({ min: 0, max: Math.PI / 2, noNaN: true }),
        fc.double({ min: -3, max: 3, noNaN: true }),
        (finger, mcp, value) => {
          const dofs = new Float64Array(DOF_COUNT);
          dofs[finger * 4] = mcp;
          setSplay(dofs, finger, value);
          expect(Math.abs(dofs[finger * 4 + 1])).toBeLessThanOrEqual(abductionLimit(mcp));
          dofs[finger * 4 + 1] = value;
          limitAbduction(dofs, finger);
          expect(Math.abs(dofs[finger * 4 + 1])).toBeLessThanOrEqual(abductionLimit(mcp));
        },
      ),
    );
  });

  it('splay leaves the thumb alone', () => {
    const dofs = new Float64Array(DOF_COUNT).fill(0.5);
    setSplay(dofs, 0, 1);
    limitAbduction(dofs, 0);
    expect(dofs[1]).toBe(0.5);
  });

  it('brings fingers together at splay -1 so that neighbours touch, and spreads them at 1', () => {
    const skeleton = createSkeleton({ side: 'right' });
    const poses = createPoses();
    const gaps = (splay: number) => {
      const dofs = new Float64Array(DOF_COUNT);
      setHandSplay(dofs, splay);
      forwardKinematics(skeleton, dofs, poses);
      return [1, 2, 3].map((finger) => {
        const [a, b] = [CHAIN_START[finger], CHAIN_START[finger + 1]];
        return Math.min(capsuleGap(poses, a + 1, b + 1), capsuleGap(poses, a + 2, b + 2));
      });
    };
    const [together, rest, apart] = [gaps(-1), gaps(0), gaps(1)];
    for (let i = 0; i < 3; i++) {
      expect(Math.abs(together[i])).toBeLessThan(0.001);
      expect(rest[i]).toBeGreaterThan(together[i] + 0.002);
      expect(apart[i]).toBeGreaterThan(rest[i] + 0.002);
    }
  });

  it('arches the palm with the MCP of ring and little, the little finger more', () => {
    const dofs = new Float64Array(DOF_COUNT);
    coupleArch(dofs);
    expect(dofs[RING_ARCH]).toBe(0);
    dofs[dofIndex('ring.mcp')] = radians(90);
    dofs[dofIndex('little.mcp')] = radians(90);
    coupleArch(dofs);
    expect(degrees(dofs[RING_ARCH])).toBeCloseTo(5, 9);
    expect(degrees(dofs[LITTLE_ARCH])).toBeCloseTo(10, 9);
  });

  it('clamps every degree of freedom to its range and touches nothing inside it', () => {
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: -4, max: 4, noNaN: true }), { minLength: DOF_COUNT, maxLength: DOF_COUNT }),
        (values) => {
          const dofs = Float64Array.from(values);
          clampDofs(dofs);
          for (const [i, value] of values.entries()) {
            expect(dofs[i] === Math.min(Math.max(value, DOF_MIN[i]), DOF_MAX[i])).toBe(true);
          }
        },
      ),
    );
  });
});
