import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { TautlineError } from '../../src/errors.js';
import {
  createPoses,
  createSkeleton,
  DOF_COUNT,
  DOF_NAMES,
  defaultPlacement,
  type FingerPlacement,
  fitHand,
  fitHandFrames,
  forwardKinematics,
  HAND_SIDES,
  type HandSide,
  JOINT_NAMES,
  type JointName,
  type JointPositions,
  POSE_STRIDE,
  type Skeleton,
  skeletonOptions,
} from '../../src/hand/index.js';
import { randomDofs, randomSkeleton, seeded } from './chain.js';

type Random = () => number;
const normal = (random: Random) => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());

function randomRoot(random: Random): number[] {
  const turn = [0, 1, 2, 3].map(() => normal(random));
  const length = Math.hypot(...turn);
  return [normal(random), normal(random), normal(random), ...turn.map((part) => part / length)];
}

function positionsOf(
  skeleton: Skeleton,
  dofs: Float64Array,
  root: ArrayLike<number>,
  noiseM = 0,
  random: Random = Math.random,
): JointPositions {
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses, root);
  return Object.fromEntries(
    JOINT_NAMES.map((name, joint) => [
      name,
      [0, 1, 2].map((k) => poses[joint * POSE_STRIDE + k] + (noiseM > 0 ? noiseM * normal(random) : 0)),
    ]),
  );
}

/** Phalanges and placement of a person of one's own, up to 10 % and 6 mm from the default. */
function personalSkeleton(random: Random, side: HandSide): Skeleton {
  const plain = randomSkeleton(random, side);
  const around = (value: number, by: number) => value + by * (2 * random() - 1);
  const placement = defaultPlacement(plain.lengthM, plain.breadthM);
  const finger = (of: FingerPlacement): FingerPlacement => ({
    baseM: [around(of.baseM[0], 0.003), around(of.baseM[1], 0.003), around(of.baseM[2], 0.003)],
    knuckleM: [around(of.knuckleM[0], 0.004), around(of.knuckleM[1], 0.003), around(of.knuckleM[2], 0.006)],
    fanDeg: around(of.fanDeg, 2),
    rollDeg: around(of.rollDeg, 6),
  });
  const bones = plain.boneLengthsM;
  const own = (lengths: readonly number[]) => lengths.map((length) => length * around(1, 0.1));
  return createSkeleton({
    ...skeletonOptions(plain),
    boneLengthsM: {
      thumb: own(bones.thumb),
      index: own(bones.index),
      middle: own(bones.middle),
      ring: own(bones.ring),
      little: own(bones.little),
    },
    placement: {
      thumb: { ...placement.thumb, turnDeg: around(placement.thumb.turnDeg, 10) },
      index: finger(placement.index),
      middle: finger(placement.middle),
      ring: finger(placement.ring),
      little: finger(placement.little),
    },
  });
}

const seed = fc.integer({ min: 0, max: 2 ** 31 });
const side = fc.constantFrom(...HAND_SIDES);
const HALF_A_DEGREE = Math.PI / 360;

describe('fitHand', () => {
  it('finds positions to 0.1 mm and angles to half a degree of hands with the default placement', () => {
    fc.assert(
      fc.property(seed, side, (n, hand) => {
        const random = seeded(n);
        const skeleton = randomSkeleton(random, hand);
        const dofs = randomDofs(random);
        const root = randomRoot(random);
        const fit = fitHand(positionsOf(skeleton, dofs, root));
        expect(fit.skeleton.side).toBe(hand);
        expect(fit.rmsM).toBeLessThan(1e-4);
        expect(Math.max(...fit.residualsM)).toBeLessThan(1e-4);
        for (const [i, name] of DOF_NAMES.entries()) {
          expect(Math.abs(fit.angles[i] - dofs[i]), name).toBeLessThan(HALF_A_DEGREE);
        }
        const [qx, qy, qz, qw] = fit.root.subarray(3);
        const cosine = Math.abs(qx * root[3] + qy * root[4] + qz * root[5] + qw * root[6]);
        expect(2 * Math.acos(Math.min(1, cosine))).toBeLessThan(HALF_A_DEGREE);
        for (const name of ['index', 'middle', 'ring', 'little', 'thumb'] as const) {
          for (const [bone, length] of skeleton.boneLengthsM[name].entries())
            expect(fit.skeleton.boneLengthsM[name][bone]).toBeCloseTo(length, name === 'thumb' ? 4 : 3.5);
        }
        expect(fit.skeleton.lengthM).toBeCloseTo(skeleton.lengthM, 3);
      }),
      { numRuns: 60 },
    );
  });

  it('finds the positions of hands with bones and placement of their own, with or without a palm', () => {
    fc.assert(
      fc.property(seed, side, (n, hand) => {
        const random = seeded(n);
        const skeleton = personalSkeleton(random, hand);
        const given = positionsOf(skeleton, randomDofs(random), randomRoot(random));
        const fit = fitHand(given, { side: hand });
        expect(fit.rmsM).toBeLessThan(1e-4);
        const { palm, ...webxr } = given;
        expect(palm).toHaveLength(3);
        const without = fitHand(webxr, { side: hand });
        expect(without.rmsM).toBeLessThan(1e-4);
        expect(without.residualsM[0]).toBeNaN();
      }),
      { numRuns: 40 },
    );
  });

  it('leaves no more than the noise of 1 mm a coordinate', () => {
    fc.assert(
      fc.property(seed, side, (n, hand) => {
        const random = seeded(n);
        const given = positionsOf(
          randomSkeleton(random, hand),
          randomDofs(random),
          randomRoot(random),
          1e-3,
          random,
        );
        // Some 1 mm is left on average; no noise of the 40 hands comes near half more.
        expect(fitHand(given, { side: hand }).rmsM).toBeLessThan(1.5e-3);
      }),
      { numRuns: 40 },
    );
  });

  it('gives the same hand in another rigid frame, and the mirrored hand of mirrored positions', () => {
    const random = seeded(7);
    const skeleton = personalSkeleton(random, 'right');
    const dofs = randomDofs(random);
    const here = fitHand(positionsOf(skeleton, dofs, randomRoot(random)));
    const there = fitHand(positionsOf(skeleton, dofs, randomRoot(random)));
    const mirrored = Object.fromEntries(
      Object.entries(positionsOf(skeleton, dofs, [0, 0, 0, 0, 0, 0, 1])).map(([name, point]) => [
        name,
        [-point[0], point[1], point[2]],
      ]),
    );
    const left = fitHand(mirrored);
    expect(left.skeleton.side).toBe('left');
    for (let i = 0; i < DOF_COUNT; i++) {
      expect(there.angles[i]).toBeCloseTo(here.angles[i], 2);
      expect(left.angles[i]).toBeCloseTo(here.angles[i], 2);
    }
  });

  it('reports what forward kinematics gives: root, angles and skeleton make the positions', () => {
    const random = seeded(11);
    const given = positionsOf(personalSkeleton(random, 'left'), randomDofs(random), randomRoot(random));
    const fit = fitHand(given);
    const again = positionsOf(fit.skeleton, fit.angles, fit.root);
    for (const name of JOINT_NAMES) {
      const [a, b] = [given[name]!, again[name]!];
      expect(Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]), name).toBeLessThan(1e-4);
    }
  });
});

describe('fitHandFrames', () => {
  it('shares the bones: with 1 mm noise the residual is the noise and the bones are right to 1 mm', () => {
    for (const hand of HAND_SIDES) {
      const random = seeded(hand === 'left' ? 3 : 4);
      const skeleton = personalSkeleton(random, hand);
      const frames = Array.from({ length: 24 }, () =>
        positionsOf(skeleton, randomDofs(random), randomRoot(random), 1e-3, random),
      );
      const fit = fitHandFrames(frames);
      expect(fit.skeleton.side).toBe(hand);
      expect(fit.frames).toHaveLength(24);
      // 1 mm a coordinate is 1.73 mm a joint; a frame's own 28 unknowns take some of it.
      expect(fit.rmsM).toBeGreaterThan(1.2e-3);
      expect(fit.rmsM).toBeLessThan(1.8e-3);
      for (const name of ['thumb', 'index', 'middle', 'ring', 'little'] as const) {
        const bones = skeleton.boneLengthsM[name];
        const fitted = fit.skeleton.boneLengthsM[name];
        // The end of a finger is beyond the tip joint by a radius that positions cannot tell.
        for (let bone = 0; bone < bones.length - 1; bone++)
          expect(Math.abs(fitted[bone] - bones[bone]), `${name} ${bone}`).toBeLessThan(1.2e-3);
      }
    }
  });

  it('thins a long recording and refuses frames of different hands', () => {
    const random = seeded(5);
    const skeleton = randomSkeleton(random, 'right');
    const frame = () => positionsOf(skeleton, randomDofs(random), randomRoot(random));
    const thinned = fitHandFrames(Array.from({ length: 70 }, frame));
    expect(thinned.frames).toHaveLength(60);
    expect(thinned.frameIndices).toHaveLength(60);
    expect(thinned.frameIndices[59]).toBe(68);
    const small = createSkeleton({ side: 'right', lengthM: skeleton.lengthM / 2 });
    const other = positionsOf(small, randomDofs(random), randomRoot(random));
    expect(() => fitHandFrames([frame(), other])).toThrow(/Frame 2 has other bones than frame 1/);
    const left = createSkeleton({ ...skeletonOptions(skeleton), side: 'left' });
    expect(() => fitHandFrames([frame(), positionsOf(left, randomDofs(random), randomRoot(random))])).toThrow(
      /Frame 2 is a left hand, earlier ones are a right hand/,
    );
    expect(() => fitHandFrames([])).toThrow(/no frames/);
  });
});

describe('a fitted skeleton', () => {
  it('is rebuilt bit by bit from its options, through JSON', () => {
    fc.assert(
      fc.property(seed, side, (n, hand) => {
        const random = seeded(n);
        const { skeleton } = fitHand(
          positionsOf(personalSkeleton(random, hand), randomDofs(random), randomRoot(random)),
          { side: hand },
        );
        const again = createSkeleton(JSON.parse(JSON.stringify(skeletonOptions(skeleton))));
        expect(again).toEqual(skeleton);
      }),
      { numRuns: 10 },
    );
  });
});

describe('positions that are no hand', () => {
  const random = seeded(1);
  const good = positionsOf(createSkeleton({ side: 'right' }), randomDofs(random), randomRoot(random));
  const refused = (positions: JointPositions): string => {
    try {
      fitHand(positions);
    } catch (error) {
      expect(error).toBeInstanceOf(TautlineError);
      expect((error as TautlineError).code).toBe('fileInvalid');
      expect((error as TautlineError).line).not.toContain('\n');
      return (error as TautlineError).line;
    }
    throw new Error('was accepted');
  };
  const changed = (change: (name: JointName, point: number[]) => number[]): JointPositions =>
    Object.fromEntries(
      Object.entries(good).map(([name, point]) => [name, change(name as JointName, Array.from(point))]),
    );

  it('missing joints are named', () => {
    const { 'ring-finger-tip': _, ...rest } = good;
    expect(refused(rest)).toMatch(/^Joint ring-finger-tip missing/);
    expect(refused({})).toMatch(/^Joint wrist and 24 more missing/);
  });

  it('numbers that are none are named with their joint', () => {
    expect(refused({ ...good, wrist: [0, Number.NaN, 0] })).toMatch(/Joint wrist is at \[0, NaN, 0\]/);
    expect(refused({ ...good, 'thumb-tip': [0, 1] })).toMatch(/Joint thumb-tip is at \[0, 1\].*three/);
  });

  it('wrong units are recognised', () => {
    expect(refused(changed((_, point) => point.map((x) => x * 1000)))).toMatch(/look like millimetres/);
    expect(refused(changed((_, point) => point.map((x) => x * 100)))).toMatch(/look like centimetres/);
    expect(refused(changed((_, point) => point.map((x) => x * 20)))).toMatch(/Expected 0.03 to 0.15 m/);
  });

  it('points on a line, or all in one place, are no hand', () => {
    expect(refused(changed((_, [x]) => [x, 0, 0]))).toMatch(/one line|apart|wrist/);
    expect(refused(changed(() => [1, 2, 3]))).toMatch(/0 m from the wrist/);
    const line = Object.fromEntries(JOINT_NAMES.map((name, i) => [name, [0.012 * (i + 1), 0, 0]]));
    expect(refused(line)).toMatch(/one line/);
  });

  it('a hand in one plane is neither left nor right, unless one says which', () => {
    const flat = positionsOf(
      createSkeleton({ side: 'right' }),
      new Float64Array(DOF_COUNT),
      [0, 0, 0, 0, 0, 0, 1],
    );
    const pressed = Object.fromEntries(Object.entries(flat).map(([name, [x, , z]]) => [name, [x, 0, z]]));
    expect(refused(pressed)).toMatch(/too flat to tell left from right.*Say which hand/);
    expect(fitHand(pressed, { side: 'right' }).rmsM).toBeLessThan(1e-3);
  });
});
