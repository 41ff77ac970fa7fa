/** Rigid poses [x, y, z, qx, qy, qz, qw] in place: for the frame loop, without garbage. */

/** Moves a pose on, and turns it by a rotation vector in the world. */
export function carryOn(
  pose: Float64Array,
  x: number,
  y: number,
  z: number,
  rx: number,
  ry: number,
  rz: number,
): void {
  pose[0] += x;
  pose[1] += y;
  pose[2] += z;
  const angle = Math.hypot(rx, ry, rz);
  if (angle < 1e-12) return;
  const s = Math.sin(angle / 2) / angle;
  const c = Math.cos(angle / 2);
  const [ax, ay, az] = [s * rx, s * ry, s * rz];
  const [bx, by, bz, bw] = [pose[3], pose[4], pose[5], pose[6]];
  pose[3] = c * bx + ax * bw + ay * bz - az * by;
  pose[4] = c * by + ay * bw + az * bx - ax * bz;
  pose[5] = c * bz + az * bw + ax * by - ay * bx;
  pose[6] = c * bw - ax * bx - ay * by - az * bz;
}

/** `out` = a . b, of poses. May be one of them. */
export function composePoses(a: ArrayLike<number>, b: ArrayLike<number>, out: Float64Array): void {
  const [ax, ay, az, aw] = [a[3], a[4], a[5], a[6]];
  const [px, py, pz] = [b[0], b[1], b[2]];
  const [bx, by, bz, bw] = [b[3], b[4], b[5], b[6]];
  const tx = 2 * (ay * pz - az * py);
  const ty = 2 * (az * px - ax * pz);
  const tz = 2 * (ax * py - ay * px);
  out[0] = a[0] + px + aw * tx + ay * tz - az * ty;
  out[1] = a[1] + py + aw * ty + az * tx - ax * tz;
  out[2] = a[2] + pz + aw * tz + ax * ty - ay * tx;
  out[3] = aw * bx + ax * bw + ay * bz - az * by;
  out[4] = aw * by + ay * bw + az * bx - ax * bz;
  out[5] = aw * bz + az * bw + ax * by - ay * bx;
  out[6] = aw * bw - ax * bx - ay * by - az * bz;
}

/** Moves a pose on by a velocity (m/s, rad/s, in the outer frame). */
export function carryBy(pose: Float64Array, velocity: ArrayLike<number>, s: number): void {
  carryOn(
    pose,
    velocity[0] * s,
    velocity[1] * s,
    velocity[2] * s,
    velocity[3] * s,
    velocity[4] * s,
    velocity[5] * s,
  );
}
