import {
  Bone,
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
  JOINT_COUNT,
  JOINT_FINGER,
  JOINT_PARENT,
  PALM,
  POSE_STRIDE,
  WRIST,
} from '../../hand/joints.js';
import type { HandInfo } from '../live.js';

/** How a finger is drawn. */
export interface FingerLook {
  colour: Color;
  /** 1 solid; less for a finger that is only guessed. */
  opacity: number;
}

/**
 * A hand of round bones: a ball at each joint with the joint's radius, and a tapered rod from each to the next.
 * One geometry, skinned: everything is given in the frame of the joint that carries it, and a new pose
 * writes nothing but 26 matrices.
 */
export interface HandMesh {
  readonly meshes: readonly SkinnedMesh[];
  /** 26 × POSE_STRIDE, wrist space. */
  pose(poses: ArrayLike<number>): void;
  /** Looks by finger, then that of the palm. */
  look(looks: readonly FingerLook[]): void;
  dispose(): void;
}

const AROUND = 18;
const BALL_RINGS = 9;
const PALM_LOOK = FINGERS.length;
/** How far the arm reaches behind the wrist, m. */
const ARM_M = 0.035;

interface Parts {
  positions: number[];
  normals: number[];
  joints: number[];
  looks: number[];
  indices: number[];
}

export function createHandMesh({ skeleton }: HandInfo): HandMesh {
  const { radiiM, restPoses } = skeleton;
  const parts: Parts = { positions: [], normals: [], joints: [], looks: [], indices: [] };
  const rest = restPoses.map(
    ([x, y, z, qx, qy, qz, qw]) =>
      [new Vector3(x, y, z), new Quaternion(qx, qy, qz, qw)] as [Vector3, Quaternion],
  );
  const inFrameOf = (joint: number, at: Vector3): Vector3 =>
    at.clone().sub(rest[joint][0]).applyQuaternion(rest[joint][1].clone().invert());

  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    if (joint === PALM) continue;
    const finger = JOINT_FINGER[joint];
    const look = finger < 0 || FINGER_BASE.some((base) => base === joint) ? PALM_LOOK : finger;
    addBall(parts, joint, look, new Vector3(), radiiM[joint]);
    const parent = JOINT_PARENT[joint];
    if (parent < 0) continue;
    const rodLook = parent === WRIST || (finger > 0 && parent === FINGER_BASE[finger]) ? PALM_LOOK : finger;
    addRod(
      parts,
      parent,
      rodLook,
      new Vector3(),
      inFrameOf(parent, rest[joint][0]),
      radiiM[parent],
      radiiM[joint],
    );
  }
  // The palm: rods between neighbouring metacarpals, so that no gap shows between them.
  for (let finger = 1; finger + 1 < FINGERS.length; finger++) {
    const [a, b] = [FINGER_BASE[finger], FINGER_BASE[finger + 1]];
    const from = inFrameOf(WRIST, rest[a][0].clone().lerp(rest[b][0], 0.5));
    const to = inFrameOf(WRIST, rest[a + 1][0].clone().lerp(rest[b + 1][0], 0.5));
    const radius = (joint: number) => (radiiM[joint] + radiiM[joint + FINGER_BASE[2] - FINGER_BASE[1]]) / 2;
    addRod(parts, WRIST, PALM_LOOK, from, to, radius(a), radius(a + 1) * 0.92);
    addBall(parts, WRIST, PALM_LOOK, to, radius(a + 1) * 0.92);
  }
  // From the ball of the thumb to the index finger.
  const indexBase = inFrameOf(WRIST, rest[FINGER_BASE[1]][0].clone().lerp(rest[FINGER_BASE[1] + 1][0], 0.35));
  const thumbBase = inFrameOf(WRIST, rest[FINGER_BASE[0]][0]);
  addRod(
    parts,
    WRIST,
    PALM_LOOK,
    thumbBase,
    indexBase,
    radiiM[FINGER_BASE[0]] * 0.9,
    radiiM[FINGER_BASE[1]] * 0.9,
  );
  addRod(
    parts,
    WRIST,
    PALM_LOOK,
    new Vector3(),
    new Vector3(0, 0, ARM_M),
    radiiM[WRIST],
    radiiM[WRIST] * 0.85,
  );
  addBall(parts, WRIST, PALM_LOOK, new Vector3(0, 0, ARM_M), radiiM[WRIST] * 0.85);

  const geometry = new BufferGeometry();
  const vertices = parts.joints.length;
  const colours = new Float32BufferAttribute(new Float32Array(vertices * 4), 4);
  geometry.setAttribute('position', new Float32BufferAttribute(parts.positions, 3));
  geometry.setAttribute('normal', new Float32BufferAttribute(parts.normals, 3));
  geometry.setAttribute('color', colours);
  geometry.setAttribute(
    'skinIndex',
    new Uint16BufferAttribute(
      parts.joints.flatMap((joint) => [joint, 0, 0, 0]),
      4,
    ),
  );
  geometry.setAttribute(
    'skinWeight',
    new Float32BufferAttribute(
      parts.joints.flatMap(() => [1, 0, 0, 0]),
      4,
    ),
  );
  geometry.setIndex(parts.indices);
  const material = new MeshStandardMaterial({
    vertexColors: true,
    transparent: true,
    roughness: 0.62,
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
  // Vertices are in their joint's frame already.
  const carried = new Skeleton(
    bones,
    bones.map(() => new Matrix4()),
  );
  for (const mesh of meshes) {
    mesh.frustumCulled = false;
    mesh.bindMode = DetachedBindMode;
    mesh.bind(carried, new Matrix4());
  }

  const position = new Vector3();
  const rotation = new Quaternion();
  const one = new Vector3(1, 1, 1);
  const pose = (poses: ArrayLike<number>) => {
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      const at = joint * POSE_STRIDE;
      position.set(poses[at], poses[at + 1], poses[at + 2]);
      rotation.set(poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]);
      bones[joint].matrixWorld.compose(position, rotation, one);
    }
  };
  pose(restPoses.flatMap((seven) => [...seven, 0]));

  return {
    meshes,
    pose,
    look(looks) {
      for (let vertex = 0; vertex < vertices; vertex++) {
        const { colour, opacity } = looks[parts.looks[vertex]];
        colours.setXYZW(vertex, colour.r, colour.g, colour.b, opacity);
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

function addBall(parts: Parts, joint: number, look: number, centre: Vector3, radius: number): void {
  const first = parts.joints.length;
  for (let ring = 0; ring <= BALL_RINGS; ring++) {
    const latitude = (ring / BALL_RINGS) * Math.PI;
    for (let step = 0; step <= AROUND; step++) {
      const longitude = (step / AROUND) * 2 * Math.PI;
      const x = Math.sin(latitude) * Math.cos(longitude);
      const y = Math.cos(latitude);
      const z = Math.sin(latitude) * Math.sin(longitude);
      parts.positions.push(centre.x + x * radius, centre.y + y * radius, centre.z + z * radius);
      parts.normals.push(x, y, z);
      parts.joints.push(joint);
      parts.looks.push(look);
    }
  }
  addFaces(parts, first, BALL_RINGS);
}

/** A cone's side from ball to ball, touching both along circles, as a sheet stretched over them would. */
function addRod(
  parts: Parts,
  joint: number,
  look: number,
  from: Vector3,
  to: Vector3,
  fromRadius: number,
  toRadius: number,
): void {
  const along = to.clone().sub(from);
  const length = along.length();
  const slope = (fromRadius - toRadius) / length;
  // One ball inside the other: there is no rod.
  if (!(Math.abs(slope) < 1)) return;
  along.divideScalar(length);
  const side = new Vector3(1, 0, 0);
  if (Math.abs(along.x) > 0.8) side.set(0, 1, 0);
  const u = side.cross(along).normalize();
  const v = along.clone().cross(u);
  const flat = Math.sqrt(1 - slope * slope);
  const first = parts.joints.length;
  const normal = new Vector3();
  for (const [centre, radius] of [
    [from, fromRadius],
    [to, toRadius],
  ] as const) {
    for (let step = 0; step <= AROUND; step++) {
      const angle = (step / AROUND) * 2 * Math.PI;
      normal
        .set(0, 0, 0)
        .addScaledVector(u, Math.cos(angle) * flat)
        .addScaledVector(v, Math.sin(angle) * flat)
        .addScaledVector(along, slope);
      parts.positions.push(
        centre.x + normal.x * radius,
        centre.y + normal.y * radius,
        centre.z + normal.z * radius,
      );
      parts.normals.push(normal.x, normal.y, normal.z);
      parts.joints.push(joint);
      parts.looks.push(look);
    }
  }
  addFaces(parts, first, 1, true);
}

function addFaces({ indices }: Parts, first: number, rings: number, flip = false): void {
  const row = AROUND + 1;
  for (let ring = 0; ring < rings; ring++) {
    for (let step = 0; step < AROUND; step++) {
      const a = first + ring * row + step;
      const b = a + row;
      if (flip) indices.push(a, a + 1, b, b, a + 1, b + 1);
      else indices.push(a, a + 1, b, b, a + 1, b + 1);
    }
  }
}
