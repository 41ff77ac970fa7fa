import {
  Bone,
  BufferAttribute,
  BufferGeometry,
  type Color,
  DetachedBindMode,
  Float32BufferAttribute,
  Matrix4,
  MeshBasicMaterial,
  MeshStandardMaterial,
  Quaternion,
  Skeleton,
  SkinnedMesh,
  Uint16BufferAttribute,
  Vector3,
} from 'three';
import {
  FINGER_BASE,
  FINGERS,
  type HandSide,
  JOINT_COUNT,
  JOINT_FINGER,
  POSE_STRIDE,
} from '../../hand/joints.js';
import { createHandSurface, NAIL } from '../../hand/surface.js';
import type { HandInfo } from '../live.js';

/** How a finger is drawn. */
export interface FingerLook {
  colour: Color;
  /** 1 solid; less for a finger that is only guessed. */
  opacity: number;
}

/** The wearer's hand as one skinned mesh: a new pose writes nothing but 26 matrices. */
export interface HandMesh {
  readonly meshes: readonly SkinnedMesh[];
  /** 26 × POSE_STRIDE, wrist space. */
  pose(poses: ArrayLike<number>): void;
  /** Looks by finger, then that of the palm. */
  look(looks: readonly FingerLook[]): void;
  dispose(): void;
}

/** Points are so far apart, m. */
const STEP_M = 0.0027;
/** Nails are so much lighter than their finger. */
const NAIL_LIGHT = 0.55;
/** By joint: the look of its finger; wrist and metacarpals have that of the palm. */
const LOOK_OF = JOINT_FINGER.map((finger, joint) =>
  finger < 0 || FINGER_BASE.some((base) => base === joint) ? FINGERS.length : finger,
);

export function createHandMesh(side: HandSide, { skeleton }: HandInfo): HandMesh {
  const { radiiM, restPoses } = skeleton;
  const flatPoses = restPoses.flatMap((seven, joint) => [...seven, radiiM[joint]]);
  const surface = createHandSurface(flatPoses, side, STEP_M);
  const { parts } = surface;
  const vertices = parts.length;

  const geometry = new BufferGeometry();
  const colours = new Float32BufferAttribute(new Float32Array(vertices * 4), 4);
  geometry.setAttribute('position', new BufferAttribute(surface.positions, 3));
  geometry.setAttribute('normal', new BufferAttribute(surface.normals, 3));
  geometry.setAttribute('color', colours);
  geometry.setAttribute('skinIndex', new Uint16BufferAttribute(surface.joints, 4));
  geometry.setAttribute('skinWeight', new BufferAttribute(surface.weights, 4));
  geometry.setIndex(new BufferAttribute(surface.indices, 1));
  const material = new MeshStandardMaterial({
    vertexColors: true,
    transparent: true,
    roughness: 0.68,
    metalness: 0,
  });
  // What is clear shows what is behind the hand, not what is inside: depths first.
  const depthOnly = new MeshBasicMaterial({ colorWrite: false });
  const meshes = [new SkinnedMesh(geometry, depthOnly), new SkinnedMesh(geometry, material)];
  const bones = Array.from({ length: JOINT_COUNT }, () => {
    const bone = new Bone();
    bone.matrixAutoUpdate = bone.matrixWorldAutoUpdate = false;
    return bone;
  });
  const position = new Vector3();
  const rotation = new Quaternion();
  const one = new Vector3(1, 1, 1);
  const place = (poses: ArrayLike<number>, joint: number, into: Matrix4): Matrix4 => {
    const at = joint * POSE_STRIDE;
    position.set(poses[at], poses[at + 1], poses[at + 2]);
    rotation.set(poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]);
    return into.compose(position, rotation, one);
  };
  const carried = new Skeleton(
    bones,
    bones.map((_, joint) => place(surface.bindPoses, joint, new Matrix4()).invert()),
  );
  for (const mesh of meshes) {
    mesh.frustumCulled = false;
    mesh.bindMode = DetachedBindMode;
    mesh.bind(carried, new Matrix4());
  }
  const pose = (poses: ArrayLike<number>) => {
    for (let joint = 0; joint < JOINT_COUNT; joint++) place(poses, joint, bones[joint].matrixWorld);
  };
  pose(flatPoses);

  const { joints, weights } = surface;
  return {
    meshes,
    pose,
    look(looks) {
      for (let vertex = 0; vertex < vertices; vertex++) {
        let [r, g, b, a] = [0, 0, 0, 0];
        // As the bones carry it: colours pass into each other as the skin does.
        for (let slot = vertex * 4; slot < vertex * 4 + 4; slot++) {
          const { colour, opacity } = looks[LOOK_OF[joints[slot]]];
          const weight = weights[slot];
          r += weight * colour.r;
          g += weight * colour.g;
          b += weight * colour.b;
          a += weight * opacity;
        }
        if (parts[vertex] >= NAIL) {
          r += NAIL_LIGHT * (1 - r);
          g += NAIL_LIGHT * (1 - g);
          b += NAIL_LIGHT * (1 - b);
        }
        colours.setXYZW(vertex, r, g, b, a);
      }
      colours.needsUpdate = true;
    },
    dispose() {
      geometry.dispose();
      material.dispose();
      depthOnly.dispose();
      carried.dispose();
    },
  };
}
