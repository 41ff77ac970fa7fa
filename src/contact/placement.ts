/** A rigid placement: rotation matrix by rows, then position. */
export type Placement = Float64Array;

/** Carries a point (or, with `isPoint` false, a direction) into the shape's frame. */
export function toShape(
  m: Placement,
  from: Float64Array,
  at: number,
  to: Float64Array,
  toAt: number,
  isPoint: boolean,
): void {
  let x = from[at];
  let y = from[at + 1];
  let z = from[at + 2];
  if (isPoint) {
    x -= m[9];
    y -= m[10];
    z -= m[11];
  }
  to[toAt] = m[0] * x + m[3] * y + m[6] * z;
  to[toAt + 1] = m[1] * x + m[4] * y + m[7] * z;
  to[toAt + 2] = m[2] * x + m[5] * y + m[8] * z;
}

/** Sets a placement from a pose [x, y, z, qx, qy, qz, qw] that is given in the frame of `parent` at `parentAt`. */
export function placeIn(
  placement: Placement,
  parent: ArrayLike<number>,
  parentAt: number,
  pose: ArrayLike<number>,
): void {
  const px = parent[parentAt + 3];
  const py = parent[parentAt + 4];
  const pz = parent[parentAt + 5];
  const pw = parent[parentAt + 6];
  const qx = pose[3];
  const qy = pose[4];
  const qz = pose[5];
  const qw = pose[6];
  const x = pw * qx + px * qw + py * qz - pz * qy;
  const y = pw * qy + py * qw + pz * qx - px * qz;
  const z = pw * qz + pz * qw + px * qy - py * qx;
  const w = pw * qw - px * qx - py * qy - pz * qz;
  placement[0] = 1 - 2 * (y * y + z * z);
  placement[1] = 2 * (x * y - z * w);
  placement[2] = 2 * (x * z + y * w);
  placement[3] = 2 * (x * y + z * w);
  placement[4] = 1 - 2 * (x * x + z * z);
  placement[5] = 2 * (y * z - x * w);
  placement[6] = 2 * (x * z - y * w);
  placement[7] = 2 * (y * z + x * w);
  placement[8] = 1 - 2 * (x * x + y * y);
  // v + 2w(p x v) + 2(p x (p x v))
  const tx = 2 * (py * pose[2] - pz * pose[1]);
  const ty = 2 * (pz * pose[0] - px * pose[2]);
  const tz = 2 * (px * pose[1] - py * pose[0]);
  placement[9] = parent[parentAt] + pose[0] + pw * tx + py * tz - pz * ty;
  placement[10] = parent[parentAt + 1] + pose[1] + pw * ty + pz * tx - px * tz;
  placement[11] = parent[parentAt + 2] + pose[2] + pw * tz + px * ty - py * tx;
}

/** Sets `out` to the placement `inner` that is given in the frame of `outer`. */
export function composePlacements(out: Placement, outer: Placement, inner: Placement): void {
  for (let row = 0; row < 3; row++) {
    const a = outer[3 * row];
    const b = outer[3 * row + 1];
    const c = outer[3 * row + 2];
    for (let column = 0; column < 3; column++) {
      out[3 * row + column] = a * inner[column] + b * inner[3 + column] + c * inner[6 + column];
    }
    out[9 + row] = outer[9 + row] + a * inner[9] + b * inner[10] + c * inner[11];
  }
}
