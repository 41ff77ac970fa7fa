import { Object3D, Quaternion, Vector3 } from 'three';
import {
  createSkeleton,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  DOF_NAMES,
  type DofArray,
  type DofName,
  JOINT_COUNT,
  JOINT_NAMES,
  JOINT_PARENT,
  type JointName,
  type Skeleton,
} from '../../src/hand/index.js';

/** A small generator with a seed, so that a failing case comes back. */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

export function randomDofs(random: () => number): DofArray {
  return Float64Array.from(
    { length: DOF_COUNT },
    (_, i) => DOF_MIN[i] + random() * (DOF_MAX[i] - DOF_MIN[i]),
  );
}

export function randomSkeleton(random: () => number, side: 'left' | 'right'): Skeleton {
  const lengthM = 0.14 + 0.09 * random();
  return createSkeleton({ side, lengthM, breadthM: lengthM * (0.4 + 0.1 * random()) });
}

export const dofIndex = (name: DofName): number => DOF_NAMES.indexOf(name);

/** Which angles turn a joint: [flexion, abduction], written down here anew from the meaning of the names. */
const TURNS: Partial<Record<JointName, readonly [DofName, DofName?]>> = {
  'thumb-metacarpal': ['thumb.cmcFlexion', 'thumb.cmcAbduction'],
  'thumb-phalanx-proximal': ['thumb.mcp'],
  'thumb-phalanx-distal': ['thumb.ip'],
  'index-finger-phalanx-proximal': ['index.mcp', 'index.abduction'],
  'index-finger-phalanx-intermediate': ['index.pip'],
  'index-finger-phalanx-distal': ['index.dip'],
  'middle-finger-phalanx-proximal': ['middle.mcp', 'middle.abduction'],
  'middle-finger-phalanx-intermediate': ['middle.pip'],
  'middle-finger-phalanx-distal': ['middle.dip'],
  'ring-finger-metacarpal': ['ring.arch'],
  'ring-finger-phalanx-proximal': ['ring.mcp', 'ring.abduction'],
  'ring-finger-phalanx-intermediate': ['ring.pip'],
  'ring-finger-phalanx-distal': ['ring.dip'],
  'pinky-finger-metacarpal': ['little.arch'],
  'pinky-finger-phalanx-proximal': ['little.mcp', 'little.abduction'],
  'pinky-finger-phalanx-intermediate': ['little.pip'],
  'pinky-finger-phalanx-distal': ['little.dip'],
};

const X = new Vector3(1, 0, 0);
const Y = new Vector3(0, 1, 0);

/** The hand as a three.js scene graph: one object a joint, each turned about its own axes. */
export function threeChain(skeleton: Skeleton) {
  const { side, restOffsets, restRotations } = skeleton;
  const joints = JOINT_NAMES.map((name, joint) => {
    const object = new Object3D();
    object.name = name;
    object.position.fromArray(restOffsets, joint * 3);
    return object;
  });
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    if (JOINT_PARENT[joint] >= 0) joints[JOINT_PARENT[joint]].add(joints[joint]);
  }
  const wrist = joints[JOINT_NAMES.indexOf('wrist')];
  const turn = new Quaternion();
  return {
    joints,
    wrist,
    pose(dofs: DofArray): void {
      for (const [joint, name] of JOINT_NAMES.entries()) {
        if (name === 'wrist') continue;
        const object = joints[joint];
        object.quaternion.fromArray(restRotations, joint * 4);
        const turns = TURNS[name];
        if (!turns) continue;
        const [flexion, abduction] = turns;
        if (abduction) {
          const towardsThumb = !/^(ring|little)/.test(abduction);
          const sign = towardsThumb === (side === 'right') ? 1 : -1;
          object.quaternion.multiply(turn.setFromAxisAngle(Y, sign * dofs[dofIndex(abduction)]));
        }
        object.quaternion.multiply(turn.setFromAxisAngle(X, -dofs[dofIndex(flexion)]));
      }
      wrist.updateMatrixWorld(true);
    },
  };
}
