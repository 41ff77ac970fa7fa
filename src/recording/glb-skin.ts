import { mat4 } from 'gl-matrix';
import { type HandSide, JOINT_COUNT, POSE_STRIDE } from '../hand/joints.js';
import type { Skeleton } from '../hand/skeleton.js';
import { createHandSurface, NAIL } from '../hand/surface.js';
import { ARRAY_BUFFER, type GlbBuilder } from './glb.js';

/** Adds the skin of a hand, carried by the 26 nodes from `first` on. @returns the node of its mesh */
export function addSkin(
  glb: GlbBuilder,
  hand: HandSide,
  { restPoses }: Skeleton,
  first: number,
  materials: { skin: number; nails: number },
): number {
  const surface = createHandSurface(restPoses, hand);
  const inverse = new Float32Array(JOINT_COUNT * 16);
  const bind = mat4.create();
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    const [x, y, z, qx, qy, qz, qw] = surface.bindPoses.subarray(joint * POSE_STRIDE);
    mat4.fromRotationTranslation(bind, [qx, qy, qz, qw], [x, y, z]);
    mat4.invert(bind, bind);
    inverse.set(bind, joint * 16);
    // By the letter: the last row is 0 0 0 1.
    for (let row = 0; row < 4; row++) inverse[joint * 16 + row * 4 + 3] = row === 3 ? 1 : 0;
  }
  const { nodes, meshes } = glb.json;
  const attributes = {
    POSITION: glb.floats(surface.positions, 'VEC3', ARRAY_BUFFER),
    NORMAL: glb.floats(unitRows(surface.normals), 'VEC3', ARRAY_BUFFER),
    JOINTS_0: glb.bytes(onlyCarriers(surface.joints, surface.weights), 'VEC4', ARRAY_BUFFER),
    WEIGHTS_0: glb.floats(surface.weights, 'VEC4', ARRAY_BUFFER),
  };
  const ofSkin: number[] = [];
  const ofNails: number[] = [];
  for (let at = 0; at < surface.indices.length; at += 3) {
    const into = surface.parts[surface.indices[at]] >= NAIL ? ofNails : ofSkin;
    into.push(surface.indices[at], surface.indices[at + 1], surface.indices[at + 2]);
  }
  meshes.push({
    name: `${hand} hand`,
    primitives: [
      { attributes, indices: glb.indices(Uint16Array.from(ofSkin)), material: materials.skin },
      { attributes, indices: glb.indices(Uint16Array.from(ofNails)), material: materials.nails },
    ],
  });
  glb.json.skins ??= [];
  glb.json.skins.push({
    name: `${hand} hand`,
    joints: Array.from({ length: JOINT_COUNT }, (_, joint) => first + joint),
    inverseBindMatrices: glb.floats(inverse, 'MAT4'),
  });
  nodes.push({
    name: `${hand} hand skin`,
    mesh: meshes.length - 1,
    skin: glb.json.skins.length - 1,
  });
  return nodes.length - 1;
}

/** A joint without weight is 0: glTF 2.0, 3.7.3.1. */
const onlyCarriers = (joints: Uint8Array, weights: Float32Array): Uint8Array =>
  joints.map((joint, at) => (weights[at] > 0 ? joint : 0));

/** Of length 1 as 32-bit numbers, which the validator asks for. */
function unitRows(rows: Float32Array): Float32Array {
  const out = Float32Array.from(rows);
  for (let at = 0; at < out.length; at += 3) {
    const length = Math.hypot(out[at], out[at + 1], out[at + 2]);
    for (let axis = 0; axis < 3; axis++) out[at + axis] /= length;
  }
  return out;
}
