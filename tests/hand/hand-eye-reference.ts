import { Matrix3, Matrix4, Quaternion, Vector3 } from 'three';

/**
 * The hand-eye problem A X = X B in closed form: F. C. Park & B. J. Martin, "Robot sensor calibration: solving AX = XB
 * on the Euclidean group", IEEE Trans. Robotics and Automation 10(5), 1994; from memory. With a and b the logarithms of
 * the rotations of A and B, and M the sum of b a', the rotation of X is (M'M)^(-1/2) M', the orthogonal polar factor of
 * M'; its translation t is the least squares solution of (R_A - I) t = R_X t_B - t_A.
 * @param trackers poses of what is strapped on: A is their motion from the first of them; @param wrists the same of B
 * @returns X: the wrist in the frame of the tracker
 */
export function parkMartin(
  trackers: readonly ArrayLike<number>[],
  wrists: readonly ArrayLike<number>[],
): Float64Array {
  const [as, bs] = [motionsOf(trackers), motionsOf(wrists)];
  const transposed = sumOf(as.map((a, n) => outer(logOf(a), logOf(bs[n]))));
  const turn = polarFactor(transposed);

  // Normal equations: three unknowns, and every motion turns.
  const rows = as.map((a, n) => ({
    left: sumOf([new Matrix3().setFromMatrix4(a), new Matrix3().multiplyScalar(-1)]),
    right: placeOf(bs[n]).applyMatrix3(turn).sub(placeOf(a)),
  }));
  const normal = sumOf(rows.map(({ left }) => left.clone().transpose().multiply(left)));
  const right = new Vector3();
  for (const row of rows) right.add(row.right.applyMatrix3(row.left.clone().transpose()));
  const place = right.applyMatrix3(normal.invert());
  const q = new Quaternion().setFromRotationMatrix(new Matrix4().setFromMatrix3(turn));
  return Float64Array.of(...place.toArray(), q.x, q.y, q.z, q.w);
}

/** By Newton's iteration Q <- (Q + Q^-T) / 2 (N. J. Higham, SIAM J. Sci. Stat. Comput. 7(4), 1986; from memory). */
function polarFactor(of: Matrix3): Matrix3 {
  let q = of.clone();
  for (let n = 0; n < 60; n++) q = sumOf([q, q.clone().invert().transpose()]).multiplyScalar(0.5);
  return q;
}

/** From the first pose to each other, in the frame of the first. */
function motionsOf(poses: readonly ArrayLike<number>[]): Matrix4[] {
  const [first, ...others] = poses.map((pose) =>
    new Matrix4().compose(
      new Vector3(pose[0], pose[1], pose[2]),
      new Quaternion(pose[3], pose[4], pose[5], pose[6]),
      new Vector3(1, 1, 1),
    ),
  );
  const back = first.clone().invert();
  return others.map((pose) => back.clone().multiply(pose));
}

const placeOf = (motion: Matrix4): Vector3 => new Vector3().setFromMatrixPosition(motion);

/** Axis times angle. */
function logOf(motion: Matrix4): Vector3 {
  const { x, y, z, w } = new Quaternion().setFromRotationMatrix(motion);
  const s = Math.hypot(x, y, z);
  const angle = 2 * Math.atan2(w < 0 ? -s : s, Math.abs(w));
  return new Vector3(x, y, z).multiplyScalar(s < 1e-12 ? 2 : angle / s);
}

const outer = (a: Vector3, b: Vector3): Matrix3 =>
  new Matrix3().set(
    a.x * b.x,
    a.x * b.y,
    a.x * b.z,
    a.y * b.x,
    a.y * b.y,
    a.y * b.z,
    a.z * b.x,
    a.z * b.y,
    a.z * b.z,
  );

const sumOf = (matrices: readonly Matrix3[]): Matrix3 =>
  new Matrix3().fromArray(
    Array.from({ length: 9 }, (_, k) => matrices.reduce((sum, { elements }) => sum + elements[k], 0)),
  );
