/**
 * Joint names, order and axes against the generic hand model of the Immersive Web group
 * (@webxr-input-profiles/assets, dist/profiles/generic-hand), whose joints follow WebXR Hand Input: -Z along the
 * bone, +Y out of the back of the hand. WebXR has no palm.
 */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { Matrix4, Object3D, Quaternion, Vector3 } from 'three';
import { beforeAll, describe, expect, it } from 'vitest';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  HAND_SIDES,
  type HandSide,
  JOINT_FINGER,
  JOINT_NAMES,
  type JointName,
  POSE_STRIDE,
  setCurl,
} from '../../src/hand/index.js';

interface Node {
  readonly name: string;
  readonly translation?: number[];
  readonly rotation?: number[];
  readonly scale?: number[];
  readonly children?: number[];
}
interface Pose {
  readonly position: Vector3;
  readonly rotation: Quaternion;
}

/** The JSON chunk of a binary glTF 2.0 file: 12 bytes of header, then length, type, text. */
function readNodes(side: HandSide): Node[] {
  const file = createRequire(import.meta.url).resolve(
    `@webxr-input-profiles/assets/dist/profiles/generic-hand/${side}.glb`,
  );
  const bytes = readFileSync(file);
  expect(bytes.toString('latin1', 0, 4)).toBe('glTF');
  expect(bytes.toString('latin1', 16, 20)).toBe('JSON');
  return JSON.parse(bytes.toString('utf8', 20, 20 + bytes.readUInt32LE(12))).nodes;
}

function posesFromWrist(nodes: Node[]): Map<string, Pose> {
  const objects = nodes.map((node) => {
    const object = new Object3D();
    object.name = node.name;
    if (node.translation) object.position.fromArray(node.translation);
    if (node.rotation) object.quaternion.fromArray(node.rotation as [number, number, number, number]);
    if (node.scale) object.scale.fromArray(node.scale);
    return object;
  });
  for (const [i, node] of nodes.entries())
    for (const child of node.children ?? []) objects[i].add(objects[child]);
  for (const object of objects) if (!object.parent) object.updateMatrixWorld(true);
  const fromWorld = objects
    .find((object) => object.name === 'wrist')!
    .matrixWorld.clone()
    .invert();
  return new Map(
    objects.map((object) => {
      const position = new Vector3();
      const rotation = new Quaternion();
      new Matrix4()
        .multiplyMatrices(fromWorld, object.matrixWorld)
        .decompose(position, rotation, new Vector3());
      return [object.name, { position, rotation }];
    }),
  );
}

/** Our open hand, of the model's length. */
function openHand(side: HandSide): Map<JointName, Pose> {
  const dofs = new Float64Array(DOF_COUNT);
  const profile = createClosingProfile();
  for (let finger = 0; finger < FINGERS.length; finger++) setCurl(profile, finger, 0, dofs);
  const poses = createPoses();
  forwardKinematics(createSkeleton({ side, lengthM: 0.186 }), dofs, poses);
  return new Map(
    JOINT_NAMES.map((name, joint) => {
      const [x, y, z, qx, qy, qz, qw] = poses.subarray(joint * POSE_STRIDE);
      return [name, { position: new Vector3(x, y, z), rotation: new Quaternion(qx, qy, qz, qw) }];
    }),
  );
}

const axis = (pose: Pose, x: number, y: number, z: number) =>
  new Vector3(x, y, z).applyQuaternion(pose.rotation);
const degreesBetween = (a: Vector3, b: Vector3) => (a.angleTo(b) * 180) / Math.PI;
const FINGER_JOINT_NAMES = JOINT_NAMES.filter((_, joint) => JOINT_FINGER[joint] >= 0);
const WEBXR_NAMES = JOINT_NAMES.filter((name) => name !== 'palm');

it('the right model lists the same joints in the same order; the left one the same joints', () => {
  const joints = (side: HandSide) =>
    readNodes(side)
      .map((node) => node.name)
      .filter((name) => /^wrist$|-(metacarpal|proximal|intermediate|distal|tip)$/.test(name));
  expect(joints('right')).toEqual(WEBXR_NAMES);
  expect(joints('left').sort()).toEqual([...WEBXR_NAMES].sort());
});

for (const side of HAND_SIDES) {
  describe(`${side} hand`, () => {
    let model: Map<string, Pose>;
    let ours: Map<JointName, Pose>;
    beforeAll(() => {
      model = posesFromWrist(readNodes(side));
      ours = openHand(side);
    });

    it('-Z runs along the bone to the next joint: the model within 6 degrees, ours exactly', () => {
      for (const [i, name] of FINGER_JOINT_NAMES.entries()) {
        if (name.endsWith('-tip')) continue;
        const next = FINGER_JOINT_NAMES[i + 1];
        const alongModel = model.get(next)!.position.clone().sub(model.get(name)!.position);
        const alongOurs = ours.get(next)!.position.clone().sub(ours.get(name)!.position);
        expect(degreesBetween(axis(model.get(name)!, 0, 0, -1), alongModel), name).toBeLessThan(6);
        expect(degreesBetween(axis(ours.get(name)!, 0, 0, -1), alongOurs), name).toBeLessThan(1e-4);
      }
    });

    it('+Y is the back of the fingers and the thumb nail faces the thumb side, in both', () => {
      const thumbSide = side === 'right' ? -1 : 1;
      for (const hand of [model, ours]) {
        for (const name of FINGER_JOINT_NAMES) {
          const dorsal = axis(hand.get(name)!, 0, 1, 0);
          if (name.startsWith('thumb')) expect(dorsal.x * thumbSide, name).toBeGreaterThan(0.6);
          else expect(dorsal.y, name).toBeGreaterThan(0.85);
        }
      }
    });

    it('an open hand has the axes of the model within 15 degrees and its joints within 20 mm', () => {
      // Both are open hands of different people: the bound is loose beside 90 degrees for a wrong axis.
      for (const name of FINGER_JOINT_NAMES) {
        const theirs = model.get(name)!;
        const own = ours.get(name)!;
        expect(degreesBetween(axis(own, 0, 0, -1), axis(theirs, 0, 0, -1)), name).toBeLessThan(15);
        expect(degreesBetween(axis(own, 0, 1, 0), axis(theirs, 0, 1, 0)), name).toBeLessThan(15);
        expect(own.position.distanceTo(theirs.position), name).toBeLessThan(0.02);
      }
    });
  });
}
