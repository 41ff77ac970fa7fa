/** Two balls, and all that is between them: [ax, ay, az, ra, bx, by, bz, rb], metres. */
export type RoundCone = readonly [number, number, number, number, number, number, number, number];

/**
 * Distance of a point from the skin of a round cone, metres; negative inside.
 * In the plane through the axis the skin is two arcs and the line that touches both; exact, also where one ball holds
 * the other.
 */
export function distanceToRoundCone(cone: RoundCone, x: number, y: number, z: number): number {
  const ra = cone[3];
  const rb = cone[7];
  const dx = cone[4] - cone[0];
  const dy = cone[5] - cone[1];
  const dz = cone[6] - cone[2];
  const lengthSquared = dx * dx + dy * dy + dz * dz;
  const length = Math.sqrt(lengthSquared);
  const px = x - cone[0];
  const py = y - cone[1];
  const pz = z - cone[2];
  if (length <= Math.abs(ra - rb)) {
    return Math.min(norm(px, py, pz) - ra, norm(px - dx, py - dy, pz - dz) - rb);
  }
  const along = (px * dx + py * dy + pz * dz) / length;
  const aside = Math.sqrt(Math.max(0, px * px + py * py + pz * pz - along * along));
  // The line that touches both circles leans by this much.
  const sine = (ra - rb) / length;
  const cosine = Math.sqrt(1 - sine * sine);
  // Place along that line of the nearest point of it.
  const foot = along * cosine - aside * sine;
  if (foot <= 0) return norm(px, py, pz) - ra;
  if (foot >= length * cosine) return norm(px - dx, py - dy, pz - dz) - rb;
  return aside * cosine + along * sine - ra;
}

const norm = (x: number, y: number, z: number): number => Math.sqrt(x * x + y * y + z * z);

/** Union of two distances, rounded where they meet; never less than the smaller one less k/4. */
export function smoothUnion(a: number, b: number, k: number): number {
  const h = k - Math.abs(a - b);
  const least = Math.min(a, b);
  return h > 0 ? least - (h * h) / (4 * k) : least;
}
