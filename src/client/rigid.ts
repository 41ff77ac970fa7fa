import { mat4, quat, vec3 } from 'gl-matrix';

/** Position x, y, z (m), then a unit quaternion x, y, z, w. */
export type RigidPose = [x: number, y: number, z: number, qx: number, qy: number, qz: number, qw: number];

const placeOf = (pose: RigidPose): vec3 => [pose[0], pose[1], pose[2]];
const turnOf = (pose: RigidPose): quat => [pose[3], pose[4], pose[5], pose[6]];
const rigid = ([x, y, z]: vec3, [qx, qy, qz, qw]: quat): RigidPose => [x, y, z, qx, qy, qz, qw];

/** A pose given in the frame of `a`, seen from outside: a · b. */
export function compose(a: RigidPose, b: RigidPose): RigidPose {
  const turn = turnOf(a);
  const place = vec3.transformQuat([0, 0, 0], placeOf(b), turn);
  return rigid(vec3.add(place, place, placeOf(a)), quat.multiply([0, 0, 0, 1], turn, turnOf(b)));
}

export function invert(a: RigidPose): RigidPose {
  const turn = quat.conjugate([0, 0, 0, 1], turnOf(a));
  const place = vec3.transformQuat([0, 0, 0], placeOf(a), turn);
  return rigid(vec3.negate(place, place), turn);
}

/** The 4 × 4 matrix, column by column, as WebGL and WebXR have it. */
export const matrixOf = (pose: RigidPose, out: Float32Array): Float32Array =>
  mat4.fromRotationTranslation(out as mat4, turnOf(pose), placeOf(pose)) as Float32Array;
