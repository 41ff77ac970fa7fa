import { quat, vec3 } from 'gl-matrix';

/**
 * Quaternions [x, y, z, w] and vectors for what is built once: gl-matrix, in double precision, with a new array for
 * each result. The frame loop has arithmetic of its own, in place and without garbage (forward.ts): from joint angles
 * to poses, sines included, it takes about as long as gl-matrix takes for the products alone
 * (`npm run bench -- --only frameStretch` times those).
 */
export type Quaternion = [number, number, number, number];
export type Vector = [number, number, number];

const asQuat = (q: ArrayLike<number>): quat => q as unknown as quat;
const asVec = (v: ArrayLike<number>): vec3 => v as unknown as vec3;

export const multiply = (a: ArrayLike<number>, b: ArrayLike<number>): Quaternion =>
  quat.multiply([0, 0, 0, 0], asQuat(a), asQuat(b)) as Quaternion;

export const conjugate = (q: ArrayLike<number>): Quaternion =>
  quat.conjugate([0, 0, 0, 0], asQuat(q)) as Quaternion;

export const rotate = (q: ArrayLike<number>, v: ArrayLike<number>): Vector =>
  vec3.transformQuat([0, 0, 0], asVec(v), asQuat(q)) as Vector;

/** Turn by `yaw` about Y, then by `pitch` about the turned X, then by `roll` about the turned Z; radians. */
export function fromYawPitchRoll(yaw: number, pitch: number, roll: number): Quaternion {
  const turned: quat = [0, 0, 0, 1];
  quat.rotateY(turned, turned, yaw);
  quat.rotateX(turned, turned, pitch);
  quat.rotateZ(turned, turned, roll);
  return turned as Quaternion;
}

/** A unit quaternion turned further by a rotation vector (radians) in the outer frame. */
export function turnBy(q: ArrayLike<number>, by: ArrayLike<number>): Quaternion {
  const angle = vec3.length(asVec(by));
  const turn = quat.setAxisAngle([0, 0, 0, 1], vec3.normalize([0, 0, 0], asVec(by)), angle);
  return quat.normalize(turn, quat.multiply(turn, turn, asQuat(q))) as Quaternion;
}

/** The rotation vector (radians) of a unit quaternion, at most half a turn long. */
export function rotationVector([x, y, z, w]: ArrayLike<number> & Iterable<number>): Vector {
  const sign = w < 0 ? -1 : 1;
  const s = Math.hypot(x, y, z);
  if (s < 1e-12) return [2 * sign * x, 2 * sign * y, 2 * sign * z];
  const scale = (sign * 2 * Math.atan2(s, Math.abs(w))) / s;
  return [scale * x, scale * y, scale * z];
}
