import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  createPoses,
  createSkeleton,
  createVelocities,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  DOF_NAMES,
  FINGER_BASE,
  FINGER_JOINTS,
  FINGERS,
  forwardKinematics,
  HAND_SIDES,
  JOINT_COUNT,
  JOINT_FINGER,
  JOINT_NAMES,
  jointVelocities,
  POSE_STRIDE,
  VELOCITY_STRIDE,
} from '../../src/hand/index.js';
import { dofIndex } from './chain.js';

const dofVector = fc
  .tuple(
    ...Array.from({ length: DOF_COUNT }, (_, i) =>
      fc.double({ min: DOF_MIN[i], max: DOF_MAX[i], noNaN: true }),
    ),
  )
  .map((values) => Float64Array.from(values));
const rateVector = fc
  .array(fc.double({ min: -20, max: 20, noNaN: true }), { minLength: DOF_COUNT, maxLength: DOF_COUNT })
  .map((values) => Float64Array.from(values));
const side = fc.constantFrom(...HAND_SIDES);
const length = fc.double({ min: 0.14, max: 0.23, noNaN: true });
const root = fc.option(
  fc
    .tuple(fc.double({ min: -2, max: 2, noNaN: true }), fc.double({ min: -3, max: 3, noNaN: true }))
    .map(([x, turn]) => [x, 1.2, -x, 0, 0.6 * Math.sin(turn), 0.8 * Math.sin(turn), Math.cos(turn)]),
  { nil: undefined },
);

describe('forwardKinematics', () => {
  it('writes unit quaternions, the skeleton radii, and every number', () => {
    fc.assert(
      fc.property(side, length, dofVector, root, (hand, lengthM, dofs, wrist) => {
        const skeleton = createSkeleton({ side: hand, lengthM });
        const poses = createPoses().fill(Number.NaN);
        forwardKinematics(skeleton, dofs, poses, wrist);
        for (let joint = 0; joint < JOINT_COUNT; joint++) {
          const [x, y, z, qx, qy, qz, qw, radius] = poses.subarray(joint * POSE_STRIDE);
          expect(x + y + z).not.toBeNaN();
          expect(Math.hypot(qx, qy, qz, qw)).toBeCloseTo(1, 12);
          expect(radius).toBe(skeleton.radii[joint]);
        }
      }),
    );
  });

  it('makes a left hand the mirror image of a right one in the YZ plane', () => {
    fc.assert(
      fc.property(length, dofVector, (lengthM, dofs) => {
        const right = createPoses();
        const left = createPoses();
        forwardKinematics(createSkeleton({ side: 'right', lengthM }), dofs, right);
        forwardKinematics(createSkeleton({ side: 'left', lengthM }), dofs, left);
        const mirror = [-1, 1, 1, 1, -1, -1, 1, 1];
        for (let i = 0; i < right.length; i++)
          expect(left[i]).toBeCloseTo(mirror[i % POSE_STRIDE] * right[i], 12);
      }),
    );
  });

  it('turns each tip as its distal phalanx', () => {
    fc.assert(
      fc.property(side, dofVector, root, (hand, dofs, wrist) => {
        const poses = createPoses();
        forwardKinematics(createSkeleton({ side: hand }), dofs, poses, wrist);
        for (let finger = 0; finger < FINGERS.length; finger++) {
          const tip = (FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1) * POSE_STRIDE;
          expect(poses.slice(tip + 3, tip + 7)).toEqual(
            poses.slice(tip + 3 - POSE_STRIDE, tip + 7 - POSE_STRIDE),
          );
        }
      }),
    );
  });

  for (const hand of HAND_SIDES) {
    it(`moves each joint of a ${hand} hand the way its sign says`, () => {
      const skeleton = createSkeleton({ side: hand });
      const tipAfter = (name: (typeof DOF_NAMES)[number], radians: number) => {
        const dofs = new Float64Array(DOF_COUNT);
        dofs[dofIndex(name)] = radians;
        const poses = createPoses();
        forwardKinematics(skeleton, dofs, poses);
        const finger = FINGERS.findIndex((f) => name.startsWith(f));
        return poses.subarray((FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1) * POSE_STRIDE);
      };
      const towardsThumb = hand === 'right' ? -1 : 1;
      for (const finger of ['index', 'middle', 'ring', 'little'] as const) {
        for (const joint of ['mcp', 'pip', 'dip'] as const) {
          const name = `${finger}.${joint}` as const;
          expect(tipAfter(name, 0.2)[1], `${name} flexes to the palm`).toBeLessThan(tipAfter(name, 0)[1]);
        }
        const name = `${finger}.abduction` as const;
        const moved = (tipAfter(name, 0.2)[0] - tipAfter(name, 0)[0]) * towardsThumb;
        if (finger === 'index' || finger === 'middle') expect(moved, name).toBeGreaterThan(0.01);
        else expect(moved, name).toBeLessThan(-0.01);
      }
      expect(tipAfter('little.arch', 0.2)[1]).toBeLessThan(tipAfter('little.arch', 0)[1]);
      // Thumb: flexion sweeps across the palm, abduction lifts it out of the palm's plane.
      for (const name of ['thumb.cmcFlexion', 'thumb.mcp', 'thumb.ip'] as const) {
        expect((tipAfter(name, 0.3)[0] - tipAfter(name, 0)[0]) * towardsThumb, name).toBeLessThan(-0.005);
      }
      const lift = tipAfter('thumb.cmcAbduction', 0.3)[1] - tipAfter('thumb.cmcAbduction', 0)[1];
      expect(lift).toBeLessThan(-0.02);
    });
  }

  it('leaves the other fingers where they are', () => {
    const skeleton = createSkeleton({ side: 'right' });
    const rest = createPoses();
    const moved = createPoses();
    forwardKinematics(skeleton, new Float64Array(DOF_COUNT), rest);
    for (const [i, name] of DOF_NAMES.entries()) {
      const dofs = new Float64Array(DOF_COUNT);
      dofs[i] = 0.3;
      forwardKinematics(skeleton, dofs, moved);
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        const finger = JOINT_FINGER[joint];
        if (finger >= 0 && name.startsWith(FINGERS[finger])) continue;
        const [from, to] = [joint * POSE_STRIDE, (joint + 1) * POSE_STRIDE];
        expect(moved.slice(from, to), `${name} moved ${JOINT_NAMES[joint]}`).toEqual(rest.slice(from, to));
      }
    }
  });
});

describe('jointVelocities', () => {
  it('equals the central differences of the poses', () => {
    const h = 1e-5;
    fc.assert(
      fc.property(side, length, dofVector, rateVector, root, (hand, lengthM, dofs, rates, wrist) => {
        const skeleton = createSkeleton({ side: hand, lengthM });
        const before = createPoses();
        const now = createPoses();
        const after = createPoses();
        const velocities = createVelocities().fill(Number.NaN);
        forwardKinematics(
          skeleton,
          dofs.map((angle, i) => angle - h * rates[i]),
          before,
          wrist,
        );
        forwardKinematics(skeleton, dofs, now, wrist);
        forwardKinematics(
          skeleton,
          dofs.map((angle, i) => angle + h * rates[i]),
          after,
          wrist,
        );
        jointVelocities(skeleton, rates, now, velocities);
        for (let joint = 0; joint < JOINT_COUNT; joint++) {
          const at = joint * POSE_STRIDE;
          const [vx, vy, vz, wx, wy, wz] = velocities.subarray(joint * VELOCITY_STRIDE);
          const linear = [0, 1, 2].map((k) => (after[at + k] - before[at + k]) / (2 * h));
          // The turn from before to after, q1 * conj(q0): twice its vector part over the time between.
          const [ax, ay, az, aw] = before.subarray(at + 3);
          const [bx, by, bz, bw] = after.subarray(at + 3);
          const sign = ax * bx + ay * by + az * bz + aw * bw < 0 ? -1 : 1;
          const angular = [
            aw * bx - bw * ax - (by * az - bz * ay),
            aw * by - bw * ay - (bz * ax - bx * az),
            aw * bz - bw * az - (bx * ay - by * ax),
          ].map((part) => (sign * 2 * part) / (2 * h));
          for (const [k, v] of [vx, vy, vz].entries()) expect(Math.abs(v - linear[k])).toBeLessThan(1e-5);
          for (const [k, w] of [wx, wy, wz].entries()) expect(Math.abs(w - angular[k])).toBeLessThan(1e-4);
        }
      }),
      { numRuns: 200 },
    );
  });

  it('is zero everywhere in a hand at rest', () => {
    const skeleton = createSkeleton({ side: 'right' });
    const poses = createPoses();
    const velocities = createVelocities().fill(9);
    forwardKinematics(skeleton, new Float64Array(DOF_COUNT).fill(0.1), poses);
    jointVelocities(skeleton, new Float64Array(DOF_COUNT), poses, velocities);
    expect(Math.max(...velocities.map(Math.abs))).toBe(0);
  });
});
