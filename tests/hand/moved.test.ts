import fc from 'fast-check';
import { Quaternion, Vector3 } from 'three';
import { expect, it } from 'vitest';
import { createHandModel, JOINT_COUNT, POSE_STRIDE } from '../../src/hand/index.js';
import { hasMoved } from '../../src/hand/moved.js';

const rest = Float64Array.from(createHandModel({ side: 'right' }).skeleton.restPoses);

const turned = (joint: number, axis: Vector3, rad: number): Float64Array => {
  const poses = rest.slice();
  const at = joint * POSE_STRIDE + 3;
  const turn = new Quaternion().setFromAxisAngle(axis.normalize(), rad);
  poses.set(turn.multiply(new Quaternion().fromArray(rest, at)).toArray(), at);
  return poses;
};

it('is still as it was drawn, also with quaternions of the opposite sign', () => {
  const opposite = rest.slice();
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    for (let i = 3; i < 7; i++) opposite[joint * POSE_STRIDE + i] *= -1;
  }
  expect(hasMoved(rest, rest, 1e-6)).toBe(false);
  expect(hasMoved(rest, opposite, 1e-6)).toBe(false);
});

it('sees a shift of any joint that is as large as what is seen, and none of half that size', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 0, max: JOINT_COUNT - 1 }),
      fc.integer({ min: 0, max: 2 }),
      fc.double({ min: 1e-5, max: 1e-2, noNaN: true }),
      (joint, axis, leastM) => {
        const by = (m: number) => {
          const poses = rest.slice();
          poses[joint * POSE_STRIDE + axis] += m;
          return poses;
        };
        expect(hasMoved(rest, by(leastM * 1.001), leastM)).toBe(true);
        expect(hasMoved(rest, by(leastM * 0.5), leastM)).toBe(false);
      },
    ),
  );
});

it('sees every turn that moves the skin about a joint so far', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 0, max: JOINT_COUNT - 1 }),
      fc.tuple(...[0, 1, 2].map(() => fc.double({ min: -1, max: 1, noNaN: true }))),
      fc.double({ min: 0.001, max: Math.PI, noNaN: true }),
      (joint, [x, y, z], rad) => {
        fc.pre(Math.hypot(x, y, z) > 0.01);
        // A point at the radius of the joint, across the axis: by chord, no less than 2/π of the arc.
        const radiusM = rest[joint * POSE_STRIDE + 7];
        const chordM = 2 * Math.sin(rad / 2) * radiusM;
        expect(hasMoved(rest, turned(joint, new Vector3(x, y, z), rad), chordM)).toBe(true);
      },
    ),
  );
});

it('draws what is not a number rather than to keep an old picture', () => {
  expect(hasMoved(new Float64Array(rest.length).fill(Number.NaN), rest, 1)).toBe(true);
});
