import type { HullSeed } from './hull-distance.js';
import { type CompiledShape, signedDistance } from './shapes.js';

/**
 * Distance between one bone of a finger and a shape.
 *
 * A bone is a tapered capsule: the convex hull of the two joints' spheres, which is the union of the balls at
 * p(t) = p0 + t (p1 - p0) with radius r0 + t (r1 - r0). Its distance to the shape is therefore the least, over t,
 * of f(t) = signedDistance(p(t)) - r(t). The shape is convex, so f is convex, and each evaluation gives a line
 * that f never goes below. The search (Kelley's cutting planes, J. SIAM 8(4), 1960, in one dimension) goes to
 * where the lines from both sides cross, until the crossing is as high as wanted: one evaluation is enough for a
 * bone far away, a few find the contact to a micrometre.
 */
export interface BoneDistance {
  /** Least distance found, metres, negative inside: never less than the true one. */
  distance: number;
  /** Never more than the true distance. */
  lowerBound: number;
  /** Where on the bone, 0 at its first joint, 1 at its second. */
  t: number;
  /** Outward unit normal of the shape there, in the shape's frame. */
  nx: number;
  ny: number;
  nz: number;
  /** Time for which the bone surely stays outside, if its joints move with the given speeds. */
  safe: number;
}

export const createBoneDistance = (): BoneDistance => ({
  distance: 0,
  lowerBound: 0,
  t: 0.5,
  nx: 0,
  ny: 1,
  nz: 0,
  safe: 0,
});

const MAX_CUTS = 32;
/** Metres that bound and distance may be apart at the surface, when the distance is wanted exactly. */
const FLOOR = 1e-7;
/** What a distance is wanted for, as the part of it that bound and distance may be apart. */
export const EXACT = 0;
export const TO_REPORT = 1e-3;
/** To move on: the search ends as soon as the bone is seen to touch. */
export const TO_ADVANCE = 0.4;

const normal = new Float64Array(3);

/**
 * @param points joint positions in the shape's frame, x y z each
 * @param bone the bone from points[bone] to points[bone + 1]
 * @param r0 radius at its first joint, metres
 * @param r1 radius at its second joint, metres
 * @param hint where on the bone to start, 0..1
 * @param part EXACT, TO_REPORT or TO_ADVANCE
 * @param allowance depth that does not count as touching, metres; for `safe`
 * @param v0 fastest speed of the first joint, metres per unit of `safe`
 * @param v1 the same of the second joint
 * @param seed where the search on a hull starts
 */
export function boneDistance(
  shape: CompiledShape,
  points: Float64Array,
  bone: number,
  r0: number,
  r1: number,
  hint: number,
  part: number,
  allowance: number,
  v0: number,
  v1: number,
  out: BoneDistance,
  seed: HullSeed = shape.seed,
): void {
  const at = bone * 3;
  const px = points[at];
  const py = points[at + 1];
  const pz = points[at + 2];
  const dx = points[at + 3] - px;
  const dy = points[at + 4] - py;
  const dz = points[at + 5] - pz;
  const dr = r1 - r0;

  // The lines from the left (falling) and from the right (rising), as value at t = 0 and slope.
  let hasLeft = false;
  let left = 0;
  let leftSlope = 0;
  let hasRight = false;
  let right = 0;
  let rightSlope = 0;
  let lower = Number.NEGATIVE_INFINITY;
  let lowest = hint;
  let t = hint;
  out.distance = Number.POSITIVE_INFINITY;

  for (let cut = 0; cut < MAX_CUTS; cut++) {
    const sd = signedDistance(shape, px + t * dx, py + t * dy, pz + t * dz, normal, seed);
    const value = sd - r0 - t * dr;
    const slope = normal[0] * dx + normal[1] * dy + normal[2] * dz - dr;
    if (value < out.distance) {
      out.distance = value;
      out.t = t;
      out.nx = normal[0];
      out.ny = normal[1];
      out.nz = normal[2];
    }
    if (slope < 0) {
      hasLeft = true;
      left = value - slope * t;
      leftSlope = slope;
    } else {
      hasRight = true;
      right = value - slope * t;
      rightSlope = slope;
    }
    if (!hasLeft) lowest = 0;
    else if (!hasRight) lowest = 1;
    else lowest = Math.min(Math.max((right - left) / (leftSlope - rightSlope), 0), 1);
    lower = hasLeft ? left + leftSlope * lowest : right;
    const clear = out.distance + allowance;
    if (part === TO_ADVANCE && clear <= 0) break;
    // At the surface, moving on is content with 10 µm.
    if (out.distance - lower <= FLOOR + part * Math.max(clear, 2.5e-5)) break;
    if (lowest === t) break;
    t = lowest;
  }

  out.lowerBound = Math.min(lower, out.distance);
  // The bound over the bone is two lines, the speed is at most linear in between: the least ratio of the two is
  // at an end or where the lines cross.
  const atFirst = (hasLeft ? left : right) + allowance;
  const atSecond = (hasRight ? right + rightSlope : left + leftSlope) + allowance;
  let safe = Math.min(timeToClose(atFirst, v0), timeToClose(atSecond, v1));
  if (hasLeft && hasRight) safe = Math.min(safe, timeToClose(lower + allowance, v0 + lowest * (v1 - v0)));
  out.safe = safe;
}

const timeToClose = (gap: number, speed: number): number => {
  if (!(gap > 0)) return 0;
  return speed > 0 ? gap / speed : Number.POSITIVE_INFINITY;
};
