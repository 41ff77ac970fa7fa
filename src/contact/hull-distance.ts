import { BOUND_STRIDE } from './face-groups.js';
import type { Hull } from './hull.js';

/**
 * Signed distance of a point to a convex hull. Outside: GJK (Gilbert, Johnson & Keerthi, IEEE Journal of Robotics
 * and Automation 4(2), 1988) with Ericson's closest points of triangle and tetrahedron (Real-Time Collision
 * Detection, 2005), and a walk along the hull's edges to find the support vertex. Inside: the nearest face.
 */

const MAX_STEPS = 48;
/** The bound and the estimate agree to this part: sub-micrometre on anything a hand can hold. */
const RELATIVE_GAP = 1e-7;

// Working space of one call: up to four simplex vertices relative to the point, and their numbers.
const simplex = new Float64Array(12);
const members = new Int32Array(4);
let count = 0;
/** The simplex' point closest to the origin. (An array, since a number in a variable of the module is allocated.) */
const closest = new Float64Array(3);

/**
 * Where the search starts: the part of the hull that was nearest the last time. Only speed depends on it.
 * Number of vertices, negative if the point was inside, and up to four of them.
 */
export type HullSeed = Int32Array;
export const createHullSeed = (): HullSeed => Int32Array.of(1, 0, 0, 0, 0);

/**
 * Signed distance, metres (negative inside). Writes the outward unit normal into `normal`.
 * @param seed of this hull; renewed
 */
export function hullDistance(
  hull: Hull,
  x: number,
  y: number,
  z: number,
  normal: Float64Array,
  seed: HullSeed,
): number {
  const { vertices } = hull;
  if (seed[0] < 0) {
    // A point that was inside likely still is, and the faces alone tell.
    const height = innerDistance(hull, x, y, z, normal);
    if (height <= 0) return height;
    seed[0] = -seed[0];
  }
  count = seed[0];
  for (let i = 0; i < count; i++) {
    const vertex = seed[i + 1];
    members[i] = vertex;
    simplex[i * 3] = vertices[vertex * 3] - x;
    simplex[i * 3 + 1] = vertices[vertex * 3 + 1] - y;
    simplex[i * 3 + 2] = vertices[vertex * 3 + 2] - z;
  }
  let support = members[0];
  if (reduce()) {
    seed[0] = -seed[0];
    return innerDistance(hull, x, y, z, normal);
  }

  for (let step = 0; step < MAX_STEPS; step++) {
    const vx = closest[0];
    const vy = closest[1];
    const vz = closest[2];
    const square = vx * vx + vy * vy + vz * vz;
    support = descend(hull, support, vx, vy, vz);
    const sx = vertices[support * 3] - x;
    const sy = vertices[support * 3 + 1] - y;
    const sz = vertices[support * 3 + 2] - z;
    if (square - (vx * sx + vy * sy + vz * sz) <= RELATIVE_GAP * square) break;
    let known = false;
    for (let i = 0; i < count; i++) known ||= members[i] === support;
    if (known) break;
    members[count] = support;
    simplex[count * 3] = sx;
    simplex[count * 3 + 1] = sy;
    simplex[count * 3 + 2] = sz;
    count++;
    if (reduce()) {
      seed[0] = -seed[0];
      return innerDistance(hull, x, y, z, normal);
    }
    // Rounding can spoil a flat simplex: never go on with something farther than before.
    if (!(squareOfClosest() < square)) break;
  }
  seed[0] = count;
  for (let i = 0; i < count; i++) seed[i + 1] = members[i];
  const distance = Math.sqrt(squareOfClosest());
  if (!(distance > 1e-9)) return innerDistance(hull, x, y, z, normal);
  normal[0] = -closest[0] / distance;
  normal[1] = -closest[1] / distance;
  normal[2] = -closest[2] / distance;
  return distance;
}

const squareOfClosest = (): number =>
  closest[0] * closest[0] + closest[1] * closest[1] + closest[2] * closest[2];

/** Walks along edges to the vertex with the least component along v. */
function descend(hull: Hull, from: number, vx: number, vy: number, vz: number): number {
  const { vertices, neighbours, neighbourStart, neighbourVertices } = hull;
  let at = from;
  let least = vx * vertices[at * 3] + vy * vertices[at * 3 + 1] + vz * vertices[at * 3 + 2];
  for (;;) {
    let next = at;
    for (let i = neighbourStart[at]; i < neighbourStart[at + 1]; i++) {
      const value =
        vx * neighbourVertices[i * 3] + vy * neighbourVertices[i * 3 + 1] + vz * neighbourVertices[i * 3 + 2];
      if (value < least) {
        least = value;
        next = neighbours[i];
      }
    }
    if (next === at) return at;
    at = next;
  }
}

/** The greatest distance to a face's plane: exact inside, and on the faces. */
function innerDistance(hull: Hull, x: number, y: number, z: number, normal: Float64Array): number {
  const { planes } = hull;
  const { centre, start, bounds } = hull.groups;
  const vx = x - centre[0];
  const vy = y - centre[1];
  const vz = z - centre[2];
  const length = Math.sqrt(vx * vx + vy * vy + vz * vz);
  let best = Number.NEGATIVE_INFINITY;
  let at = 0;
  // Twice: the group that promises most first, so that most of the others are passed over.
  let first = 0;
  let promised = Number.NEGATIVE_INFINITY;
  for (let group = 0; group < start.length - 1; group++) {
    const bound = boundOf(bounds, group, vx, vy, vz, length);
    if (bound > promised) {
      promised = bound;
      first = group;
    }
  }
  for (let turn = -1; turn < start.length - 1; turn++) {
    const group = turn < 0 ? first : turn;
    // Rounding may not hide a face.
    if (turn >= 0 && (group === first || boundOf(bounds, group, vx, vy, vz, length) < best - 1e-12)) continue;
    for (let i = 4 * start[group]; i < 4 * start[group + 1]; i += 4) {
      const height = planes[i] * x + planes[i + 1] * y + planes[i + 2] * z - planes[i + 3];
      if (height > best) {
        best = height;
        at = i;
      }
    }
  }
  normal[0] = planes[at];
  normal[1] = planes[at + 1];
  normal[2] = planes[at + 2];
  return best;
}

/** No plane of a group of faces is higher above the point than this: see face-groups.ts. */
function boundOf(
  bounds: Float64Array,
  group: number,
  vx: number,
  vy: number,
  vz: number,
  length: number,
): number {
  const at = group * BOUND_STRIDE;
  return (
    bounds[at] * vx + bounds[at + 1] * vy + bounds[at + 2] * vz + bounds[at + 3] * length - bounds[at + 4]
  );
}

/** Finds v on the simplex and drops the vertices it does not need. True if the origin is inside. */
function reduce(): boolean {
  if (count === 1) {
    at(0, 1, 0, 0, 0, 0);
    return false;
  }
  if (count === 2) {
    closestOnEdge();
    return false;
  }
  if (count === 3) {
    triangle(0, 1, 2);
    keep();
    return false;
  }
  // A face of the tetrahedron is of interest if the origin is on the other side of it than the fourth vertex.
  let inside = true;
  let best = Number.POSITIVE_INFINITY;
  let bx = 0;
  let by = 0;
  let bz = 0;
  let mask = 0;
  for (let face = 0; face < 4; face++) {
    const a = face === 0 ? 1 : 0;
    const b = face <= 1 ? 2 : 1;
    const c = face <= 2 ? 3 : 2;
    if (!separates(a, b, c, face)) continue;
    inside = false;
    triangle(a, b, c);
    const square = squareOfClosest();
    if (square < best) {
      best = square;
      bx = closest[0];
      by = closest[1];
      bz = closest[2];
      mask = kept;
    }
  }
  if (inside) return true;
  closest[0] = bx;
  closest[1] = by;
  closest[2] = bz;
  kept = mask;
  keep();
  return false;
}

function closestOnEdge(): void {
  const dx = simplex[3] - simplex[0];
  const dy = simplex[4] - simplex[1];
  const dz = simplex[5] - simplex[2];
  const t = -(simplex[0] * dx + simplex[1] * dy + simplex[2] * dz) / (dx * dx + dy * dy + dz * dz);
  if (t <= 0) {
    kept = 1;
    at(0, 1, 0, 0, 0, 0);
  } else if (t >= 1) {
    kept = 2;
    at(1, 1, 0, 0, 0, 0);
  } else {
    kept = 3;
    at(0, 1 - t, 1, t, 0, 0);
  }
  keep();
}

/** Bits of the simplex vertices that carry v. */
let kept = 0;

function at(a: number, u: number, b: number, v: number, c: number, w: number): void {
  closest[0] = u * simplex[a * 3] + v * simplex[b * 3] + w * simplex[c * 3];
  closest[1] = u * simplex[a * 3 + 1] + v * simplex[b * 3 + 1] + w * simplex[c * 3 + 1];
  closest[2] = u * simplex[a * 3 + 2] + v * simplex[b * 3 + 2] + w * simplex[c * 3 + 2];
}

function keep(): void {
  let to = 0;
  for (let i = 0; i < count; i++) {
    if ((kept & (1 << i)) === 0) continue;
    if (to !== i) {
      members[to] = members[i];
      simplex[to * 3] = simplex[i * 3];
      simplex[to * 3 + 1] = simplex[i * 3 + 1];
      simplex[to * 3 + 2] = simplex[i * 3 + 2];
    }
    to++;
  }
  count = to;
}

function separates(a: number, b: number, c: number, opposite: number): boolean {
  const ax = simplex[a * 3];
  const ay = simplex[a * 3 + 1];
  const az = simplex[a * 3 + 2];
  const ux = simplex[b * 3] - ax;
  const uy = simplex[b * 3 + 1] - ay;
  const uz = simplex[b * 3 + 2] - az;
  const wx = simplex[c * 3] - ax;
  const wy = simplex[c * 3 + 1] - ay;
  const wz = simplex[c * 3 + 2] - az;
  const nx = uy * wz - uz * wy;
  const ny = uz * wx - ux * wz;
  const nz = ux * wy - uy * wx;
  const origin = -(ax * nx + ay * ny + az * nz);
  const other =
    (simplex[opposite * 3] - ax) * nx +
    (simplex[opposite * 3 + 1] - ay) * ny +
    (simplex[opposite * 3 + 2] - az) * nz;
  return origin * other <= 0;
}

/** Closest point of a triangle to the origin (Ericson 2005, 5.1.5); sets v and `kept`. */
function triangle(a: number, b: number, c: number): void {
  const ax = simplex[a * 3];
  const ay = simplex[a * 3 + 1];
  const az = simplex[a * 3 + 2];
  const bx = simplex[b * 3];
  const by = simplex[b * 3 + 1];
  const bz = simplex[b * 3 + 2];
  const cx = simplex[c * 3];
  const cy = simplex[c * 3 + 1];
  const cz = simplex[c * 3 + 2];
  const abx = bx - ax;
  const aby = by - ay;
  const abz = bz - az;
  const acx = cx - ax;
  const acy = cy - ay;
  const acz = cz - az;
  const d1 = -(abx * ax + aby * ay + abz * az);
  const d2 = -(acx * ax + acy * ay + acz * az);
  if (d1 <= 0 && d2 <= 0) {
    kept = 1 << a;
    at(a, 1, a, 0, a, 0);
    return;
  }
  const d3 = -(abx * bx + aby * by + abz * bz);
  const d4 = -(acx * bx + acy * by + acz * bz);
  if (d3 >= 0 && d4 <= d3) {
    kept = 1 << b;
    at(b, 1, b, 0, b, 0);
    return;
  }
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) {
    const t = d1 / (d1 - d3);
    kept = (1 << a) | (1 << b);
    at(a, 1 - t, b, t, b, 0);
    return;
  }
  const d5 = -(abx * cx + aby * cy + abz * cz);
  const d6 = -(acx * cx + acy * cy + acz * cz);
  if (d6 >= 0 && d5 <= d6) {
    kept = 1 << c;
    at(c, 1, c, 0, c, 0);
    return;
  }
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) {
    const t = d2 / (d2 - d6);
    kept = (1 << a) | (1 << c);
    at(a, 1 - t, c, t, c, 0);
    return;
  }
  const va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
    const t = (d4 - d3) / (d4 - d3 + (d5 - d6));
    kept = (1 << b) | (1 << c);
    at(b, 1 - t, c, t, c, 0);
    return;
  }
  const scale = 1 / (va + vb + vc);
  kept = (1 << a) | (1 << b) | (1 << c);
  at(a, va * scale, b, vb * scale, c, vc * scale);
}
