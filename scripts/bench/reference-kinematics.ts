import { quat, vec3 } from 'gl-matrix';
import { Object3D } from 'three';
import { JOINT_COUNT, JOINT_PARENT, type Skeleton } from '../../src/hand/index.js';

/**
 * Forward kinematics of the same 26 nodes by general libraries, given local rotations: what an app would
 * otherwise write. Joint angles are turned into local rotations before the clock runs.
 */
export function threeKinematics(skeleton: Skeleton): (locals: Float64Array) => void {
  const root = new Object3D();
  const nodes = Array.from({ length: JOINT_COUNT }, () => new Object3D());
  nodes.forEach((node, joint) => {
    const parent = JOINT_PARENT[joint];
    (parent < 0 ? root : nodes[parent]).add(node);
    node.position.fromArray(skeleton.restOffsets, joint * 3);
  });
  return (locals) => {
    for (let joint = 0; joint < JOINT_COUNT; joint++) nodes[joint].quaternion.fromArray(locals, joint * 4);
    root.updateMatrixWorld(true);
  };
}

export function glMatrixKinematics(skeleton: Skeleton): (locals: Float64Array) => void {
  const positions = Array.from({ length: JOINT_COUNT }, () => vec3.create());
  const rotations = Array.from({ length: JOINT_COUNT }, () => quat.create());
  const offsets = Array.from({ length: JOINT_COUNT }, (_, j) =>
    vec3.fromValues(
      skeleton.restOffsets[j * 3],
      skeleton.restOffsets[j * 3 + 1],
      skeleton.restOffsets[j * 3 + 2],
    ),
  );
  const order = [1, ...Array.from({ length: JOINT_COUNT }, (_, j) => j).filter((j) => j !== 1)];
  const local = quat.create();
  return (locals) => {
    for (const joint of order) {
      const parent = JOINT_PARENT[joint];
      quat.set(local, locals[joint * 4], locals[joint * 4 + 1], locals[joint * 4 + 2], locals[joint * 4 + 3]);
      if (parent < 0) {
        vec3.copy(positions[joint], offsets[joint]);
        quat.copy(rotations[joint], local);
        continue;
      }
      vec3.transformQuat(positions[joint], offsets[joint], rotations[parent]);
      vec3.add(positions[joint], positions[joint], positions[parent]);
      quat.multiply(rotations[joint], rotations[parent], local);
    }
  };
}

/** A few hundred sets of local rotations to go through, so that no branch or cache is flattered. */
export function randomLocals(sets: number, random: () => number): Float64Array[] {
  return Array.from({ length: sets }, () => {
    const locals = new Float64Array(JOINT_COUNT * 4);
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      const half = random() * 0.7;
      locals[joint * 4] = -Math.sin(half);
      locals[joint * 4 + 3] = Math.cos(half);
    }
    return locals;
  });
}
