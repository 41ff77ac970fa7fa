/** A place and a turn: x, y, z (m), then a unit quaternion x, y, z, w. */
export type RigidPose = [x: number, y: number, z: number, qx: number, qy: number, qz: number, qw: number];

/** A pose given in the frame of `a`, seen from outside: a · b. */
export function compose(a: RigidPose, b: RigidPose): RigidPose {
  const [ax, ay, az, aw] = [a[3], a[4], a[5], a[6]];
  const [bx, by, bz, bw] = [b[3], b[4], b[5], b[6]];
  const [x, y, z] = rotateVector(a, b[0], b[1], b[2]);
  return [
    a[0] + x,
    a[1] + y,
    a[2] + z,
    aw * bx + ax * bw + ay * bz - az * by,
    aw * by - ax * bz + ay * bw + az * bx,
    aw * bz + ax * by - ay * bx + az * bw,
    aw * bw - ax * bx - ay * by - az * bz,
  ];
}

export function invert(a: RigidPose): RigidPose {
  const turn: RigidPose = [0, 0, 0, -a[3], -a[4], -a[5], a[6]];
  const [x, y, z] = rotateVector(turn, a[0], a[1], a[2]);
  return [-x, -y, -z, turn[3], turn[4], turn[5], turn[6]];
}

/** v + 2 q × (q × v + w v). */
function rotateVector(pose: RigidPose, x: number, y: number, z: number): [number, number, number] {
  const [qx, qy, qz, qw] = [pose[3], pose[4], pose[5], pose[6]];
  const cx = qy * z - qz * y + qw * x;
  const cy = qz * x - qx * z + qw * y;
  const cz = qx * y - qy * x + qw * z;
  return [x + 2 * (qy * cz - qz * cy), y + 2 * (qz * cx - qx * cz), z + 2 * (qx * cy - qy * cx)];
}

/** The 4 × 4 matrix, column by column, as WebGL and WebXR have it. */
export function matrixOf(pose: RigidPose, out: Float32Array): Float32Array {
  const [x, y, z, qx, qy, qz, qw] = pose;
  out.set([
    1 - 2 * (qy * qy + qz * qz),
    2 * (qx * qy + qz * qw),
    2 * (qx * qz - qy * qw),
    0,
    2 * (qx * qy - qz * qw),
    1 - 2 * (qx * qx + qz * qz),
    2 * (qy * qz + qx * qw),
    0,
    2 * (qx * qz + qy * qw),
    2 * (qy * qz - qx * qw),
    1 - 2 * (qx * qx + qy * qy),
    0,
    x,
    y,
    z,
    1,
  ]);
  return out;
}
