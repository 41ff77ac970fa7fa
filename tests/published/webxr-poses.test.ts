/**
 * fitHand on hands that were not made with our own model: three poses that a tracker recorded, published in the
 * npm package iwer 2.5.0 (MIT; numbers in webxr-poses.json), and the rest pose of the Immersive Web group's generic
 * hand (@webxr-input-profiles/assets).
 */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { Object3D, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import {
  DOF_NAMES,
  fitHand,
  fitHandFrames,
  HAND_SIDES,
  type HandSide,
  type JointPositions,
} from '../../src/hand/index.js';
import { explain } from './explain-pose.js';

const published: { hand: HandSide; poses: Record<string, JointPositions> } = JSON.parse(
  readFileSync(new URL('webxr-poses.json', import.meta.url), 'utf8'),
);
const BAR_M = 0.004;
const inDegrees = (angles: Float64Array) =>
  Object.fromEntries(DOF_NAMES.map((name, i) => [name, (angles[i] * 180) / Math.PI]));

describe('poses of a tracker (iwer 2.5.0)', () => {
  // Residuals found: relaxed 0.46 mm, pinch 0.31 mm, point 0.58 mm.
  for (const [name, positions] of Object.entries(published.poses)) {
    it(`${name}: fits within 1 mm (bar 4 mm) and is seen to be a ${published.hand} hand`, () => {
      const fit = fitHand(positions);
      expect(fit.skeleton.side).toBe(published.hand);
      expect(fit.rmsM).toBeLessThan(BAR_M / 4);
      expect(fit.skeleton.lengthM).toBeGreaterThan(0.19);
      expect(fit.skeleton.lengthM).toBeLessThan(0.21);
    });
  }

  it('one skeleton fits all three within 4 mm each, 2 mm overall', () => {
    const fit = fitHandFrames(Object.values(published.poses));
    for (const frame of fit.frames) expect(frame.rmsM).toBeLessThan(BAR_M);
    expect(fit.rmsM).toBeLessThan(BAR_M / 2);
  });

  it('inside the ranges of its joints, the hand fitted to all three explains each', () => {
    // Ranges without extension of knuckles and thumb, and 15 degrees of spread, left 1.5, 2.0 and 1.7 mm.
    const [relaxed, ...also] = Object.values(published.poses);
    const { skeleton } = fitHand(relaxed, { also });
    const [a, b, c] = Object.values(published.poses).map((pose) => explain(skeleton, pose).rmsM);
    expect(a).toBeLessThan(0.001);
    expect(b).toBeLessThan(0.0018);
    expect(c).toBeLessThan(0.0015);
    // And a hand fitted to one pose explains that pose.
    for (const pose of Object.values(published.poses)) {
      expect(explain(fitHand(pose).skeleton, pose).rmsM).toBeLessThan(0.0008);
    }
  });

  it('the angles are those of the poses: pinch bends index and thumb alone, point leaves the index straight', () => {
    const { frames } = fitHandFrames(Object.values(published.poses));
    const [relaxed, pinch, point] = frames.map(({ angles }) => inDegrees(angles));
    const bend = (pose: Record<string, number>, finger: string) =>
      pose[`${finger}.mcp`] + pose[`${finger}.pip`];
    expect(Object.keys(published.poses)).toEqual(['relaxed', 'pinch', 'point']);
    expect(bend(pinch, 'index')).toBeGreaterThan(bend(relaxed, 'index') + 60);
    expect(pinch['thumb.cmcAbduction']).toBeGreaterThan(relaxed['thumb.cmcAbduction'] + 20);
    expect(Math.abs(bend(pinch, 'little') - bend(relaxed, 'little'))).toBeLessThan(15);
    expect(bend(point, 'index')).toBeLessThan(25);
    for (const finger of ['middle', 'ring', 'little'])
      expect(bend(point, finger), finger).toBeGreaterThan(120);
  });
});

describe('generic hand model (@webxr-input-profiles/assets), rest pose', () => {
  for (const side of HAND_SIDES) {
    it(`${side}: fits within 1 mm`, () => {
      const fit = fitHand(modelPositions(side));
      expect(fit.skeleton.side).toBe(side);
      expect(fit.rmsM).toBeLessThan(BAR_M / 4);
    });
  }
});

function modelPositions(side: HandSide): JointPositions {
  const path = `@webxr-input-profiles/assets/dist/profiles/generic-hand/${side}.glb`;
  const bytes = readFileSync(createRequire(import.meta.url).resolve(path));
  const { nodes } = JSON.parse(bytes.toString('utf8', 20, 20 + bytes.readUInt32LE(12)));
  const objects: Object3D[] = nodes.map(
    (node: { name: string; translation?: number[]; rotation?: number[]; scale?: number[] }) => {
      const object = new Object3D();
      object.name = node.name;
      if (node.translation) object.position.fromArray(node.translation);
      if (node.rotation) object.quaternion.fromArray(node.rotation as [number, number, number, number]);
      if (node.scale) object.scale.fromArray(node.scale);
      return object;
    },
  );
  for (const [i, node] of nodes.entries())
    for (const child of node.children ?? []) objects[i].add(objects[child]);
  for (const object of objects) if (!object.parent) object.updateMatrixWorld(true);
  return Object.fromEntries(
    objects.map((object) => [object.name, object.getWorldPosition(new Vector3()).toArray()]),
  );
}
