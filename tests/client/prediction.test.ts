import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { HandPose } from '../../src/client/pose.js';
import { MAX_AHEAD_US, predict } from '../../src/client/prediction.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, createVelocities, forwardKinematics, jointVelocities } from '../../src/hand/forward.js';
import { JOINT_COUNT, JOINT_PARENT } from '../../src/hand/joints.js';
import { createSkeleton } from '../../src/hand/skeleton.js';

const skeleton = createSkeleton({ side: 'right' });

/** A pose as the service would send it. */
function poseOf(dofs: Float64Array, rates: Float64Array): HandPose {
  const poses = createPoses();
  const velocities = createVelocities();
  forwardKinematics(skeleton, dofs, poses);
  jointVelocities(skeleton, rates, poses, velocities);
  const pose = new HandPose();
  pose.valid = true;
  pose.poses.set(poses);
  pose.velocities = Float32Array.from(velocities);
  return pose;
}
const distance = (a: ArrayLike<number>, b: ArrayLike<number>, i: number, j: number) =>
  Math.hypot(a[i] - b[j], a[i + 1] - b[j + 1], a[i + 2] - b[j + 2]);
const dofs = fc.array(fc.double({ min: 0, max: 1.2, noNaN: true }), {
  minLength: DOF_COUNT,
  maxLength: DOF_COUNT,
});
const rates = fc.array(fc.double({ min: -8, max: 8, noNaN: true }), {
  minLength: DOF_COUNT,
  maxLength: DOF_COUNT,
});

describe('a pose carried ahead', () => {
  it('is where the same motion leads by exact kinematics, to well under a millimetre a frame ahead', () => {
    fc.assert(
      fc.property(dofs, rates, (start, speed) => {
        const s = 0.011;
        const from = Float64Array.from(start);
        const ahead = predict(poseOf(from, Float64Array.from(speed)), s * 1e6, new HandPose());
        const truth = createPoses();
        forwardKinematics(
          skeleton,
          from.map((value, i) => value + speed[i] * s),
          truth,
        );
        for (let joint = 0; joint < JOINT_COUNT; joint++) {
          expect(distance(ahead.poses, truth, joint * 8, joint * 8)).toBeLessThan(0.001);
        }
      }),
      { numRuns: 60 },
    );
  });

  it('keeps the length of every bone and unit quaternions', () => {
    fc.assert(
      fc.property(dofs, rates, (start, speed) => {
        const pose = poseOf(Float64Array.from(start), Float64Array.from(speed));
        const ahead = predict(pose, MAX_AHEAD_US, new HandPose());
        for (let joint = 0; joint < JOINT_COUNT; joint++) {
          const at = joint * 8;
          expect(Math.hypot(...ahead.poses.subarray(at + 3, at + 7))).toBeCloseTo(1, 5);
          expect(ahead.poses[at + 7]).toBe(pose.poses[at + 7]);
          const parent = JOINT_PARENT[joint] * 8;
          if (parent < 0) continue;
          const before = distance(pose.poses, pose.poses, at, parent);
          expect(distance(ahead.poses, ahead.poses, at, parent)).toBeCloseTo(before, 5);
        }
      }),
      { numRuns: 60 },
    );
  });

  it('goes no farther than 50 ms, not back in time, and counts what the service predicted already', () => {
    const pose = poseOf(new Float64Array(DOF_COUNT), new Float64Array(DOF_COUNT).fill(3));
    const far = predict(pose, 9e9, new HandPose());
    expect(far.aheadUs).toBe(MAX_AHEAD_US);
    expect(far.poses).toEqual(predict(pose, MAX_AHEAD_US, new HandPose()).poses);
    expect(predict(pose, -5000, new HandPose()).poses).toEqual(pose.poses);
    expect(predict(pose, Number.NaN, new HandPose()).poses).toEqual(pose.poses);
    pose.aheadUs = 45_000;
    expect(predict(pose, 9e9, new HandPose()).aheadUs).toBe(MAX_AHEAD_US);
  });

  it('is left as it is when it is not valid or has no velocities', () => {
    const pose = poseOf(new Float64Array(DOF_COUNT), new Float64Array(DOF_COUNT).fill(3));
    pose.valid = false;
    expect(predict(pose, 20_000, new HandPose())).toMatchObject({ aheadUs: 0, poses: pose.poses });
    pose.valid = true;
    pose.velocities = undefined;
    expect(predict(pose, 20_000, new HandPose())).toMatchObject({ aheadUs: 0, poses: pose.poses });
  });
});
