/** Quaternions [x, y, z, w] and vectors for building things once; the frame loop has its own, in place. */
export type Quaternion = [number, number, number, number];
export type Vector = [number, number, number];

export function multiply(a: ArrayLike<number>, b: ArrayLike<number>): Quaternion {
  return [
    a[3] * b[0] + a[0] * b[3] + a[1] * b[2] - a[2] * b[1],
    a[3] * b[1] + a[1] * b[3] + a[2] * b[0] - a[0] * b[2],
    a[3] * b[2] + a[2] * b[3] + a[0] * b[1] - a[1] * b[0],
    a[3] * b[3] - a[0] * b[0] - a[1] * b[1] - a[2] * b[2],
  ];
}

export function conjugate(q: ArrayLike<number>): Quaternion {
  return [-q[0], -q[1], -q[2], q[3]];
}

export function rotate(q: ArrayLike<number>, v: ArrayLike<number>): Vector {
  const [x, y, z] = multiply(multiply(q, [v[0], v[1], v[2], 0]), conjugate(q));
  return [x, y, z];
}

/** Turn by `yaw` about Y, then by `pitch` about the turned X, then by `roll` about the turned Z; radians. */
export function fromYawPitchRoll(yaw: number, pitch: number, roll: number): Quaternion {
  const turned = multiply(
    [0, Math.sin(yaw / 2), 0, Math.cos(yaw / 2)],
    [Math.sin(pitch / 2), 0, 0, Math.cos(pitch / 2)],
  );
  return multiply(turned, [0, 0, Math.sin(roll / 2), Math.cos(roll / 2)]);
}

/** A unit quaternion turned further by a rotation vector (radians) in the outer frame. */
export function turnBy(q: ArrayLike<number>, by: ArrayLike<number>): Quaternion {
  const angle = Math.hypot(by[0], by[1], by[2]);
  const s = angle > 0 ? Math.sin(angle / 2) / angle : 0.5;
  const turned = multiply([s * by[0], s * by[1], s * by[2], Math.cos(angle / 2)], q);
  const length = Math.hypot(...turned);
  return [turned[0] / length, turned[1] / length, turned[2] / length, turned[3] / length];
}
