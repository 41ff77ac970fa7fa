import type { ConvexShape } from '../protocol/messages.js';
import { buildHull, type Hull, type HullFault } from './hull.js';
import { createHullSeed, type HullSeed, hullDistance } from './hull-distance.js';

/**
 * Shapes as the solver wants them, and the signed distance of a point to each. All are convex (a compound is touched
 * part by part: parts.ts), so the signed distance is a convex function of the point, inside as well as outside: the solver relies on it.
 */

export const SPHERE = 0;
export const BOX = 1;
export const CAPSULE = 2;
export const CYLINDER = 3;
export const HALF_SPACE = 4;
export const HULL = 5;

export interface CompiledShape {
  readonly kind: number;
  /** Sphere, capsule, cylinder: radius. Box: half the x edge. Metres. */
  readonly a: number;
  /** Box: half the y edge. Capsule, cylinder: half the length along y. Metres. */
  readonly b: number;
  /** Box: half the z edge. Metres. */
  readonly c: number;
  readonly hull: Hull | undefined;
  readonly seed: HullSeed;
}

/** Why a shape cannot be touched. */
export interface ShapeFault {
  readonly code: 'badMessage';
  readonly message: string;
  /** JSON pointer to what is wrong in the touch. */
  readonly path: string;
}

export const shapeFault = (path: string, what: string): ShapeFault => ({
  code: 'badMessage',
  message: `${path.slice(1).replaceAll('/', '.')}: ${what}`,
  path,
});

const HULL_FAULTS: Readonly<Record<HullFault, string>> = {
  fewPoints: 'a hull needs 4 points or more.',
  notFinite: 'every coordinate must be a finite number.',
  flat: 'the points lie in a plane (or closer); give points that enclose a volume.',
  failed: 'no convex hull was found; remove points that nearly coincide.',
};

export const isShapeFault = <T extends object>(value: T | ShapeFault): value is ShapeFault => 'code' in value;

/**
 * Prepares a shape. Metres. A shape that encloses no volume is a fault.
 * @param path JSON pointer to it in the touch
 */
export function compileShape(shape: ConvexShape, path = '/shape'): CompiledShape | ShapeFault {
  switch (shape.kind) {
    case 'sphere':
      return primitive(path, SPHERE, shape.radius, 0, 0);
    case 'box':
      return primitive(path, BOX, shape.size[0] / 2, shape.size[1] / 2, shape.size[2] / 2);
    case 'capsule':
      return primitive(path, CAPSULE, shape.radius, shape.length / 2, 0);
    case 'cylinder':
      return primitive(path, CYLINDER, shape.radius, shape.length / 2, 0);
    case 'halfSpace':
      return primitive(path, HALF_SPACE, 0, 0, 0);
    case 'hull': {
      const hull = buildHull(shape.points);
      if (typeof hull === 'string') return shapeFault(`${path}/points`, HULL_FAULTS[hull]);
      return { kind: HULL, a: 0, b: 0, c: 0, hull, seed: createHullSeed() };
    }
  }
}

function primitive(path: string, kind: number, a: number, b: number, c: number): CompiledShape | ShapeFault {
  if (!Number.isFinite(a + b + c)) return shapeFault(path, 'every length must be a finite number.');
  return { kind, a, b, c, hull: undefined, seed: createHullSeed() };
}

/** True if two shapes are the same in every number. */
export function sameShape(a: ConvexShape, b: ConvexShape): boolean {
  switch (a.kind) {
    case 'sphere':
      return b.kind === 'sphere' && a.radius === b.radius;
    case 'box':
      return (
        b.kind === 'box' && a.size[0] === b.size[0] && a.size[1] === b.size[1] && a.size[2] === b.size[2]
      );
    case 'capsule':
    case 'cylinder':
      return b.kind === a.kind && a.radius === b.radius && a.length === b.length;
    case 'halfSpace':
      return b.kind === 'halfSpace';
    case 'hull': {
      if (b.kind !== 'hull' || a.points.length !== b.points.length) return false;
      for (let i = 0; i < a.points.length; i++) {
        const p = a.points[i];
        const q = b.points[i];
        if (p[0] !== q[0] || p[1] !== q[1] || p[2] !== q[2]) return false;
      }
      return true;
    }
  }
}

/**
 * Signed distance of a point to a shape's surface, metres, negative inside; both in the shape's frame. Exact.
 * @param normal gets the outward unit normal at the closest point of the surface, which is therefore
 *   point - distance * normal. On a ridge of the distance inside, any one of the normals.
 */
export function signedDistance(
  shape: CompiledShape,
  x: number,
  y: number,
  z: number,
  normal: Float64Array,
  seed: HullSeed = shape.seed,
): number {
  switch (shape.kind) {
    case SPHERE:
      return fromCentre(x, y, z, normal) - shape.a;
    case BOX:
      return boxDistance(shape, x, y, z, normal);
    case CAPSULE: {
      const along = Math.min(Math.max(y, -shape.b), shape.b);
      return fromCentre(x, y - along, z, normal) - shape.a;
    }
    case CYLINDER:
      return cylinderDistance(shape, x, y, z, normal);
    case HALF_SPACE:
      normal[0] = 0;
      normal[1] = 1;
      normal[2] = 0;
      return y;
    default:
      return hullDistance(shape.hull!, x, y, z, normal, seed);
  }
}

function fromCentre(x: number, y: number, z: number, normal: Float64Array): number {
  const length = Math.sqrt(x * x + y * y + z * z);
  if (length > 0) {
    normal[0] = x / length;
    normal[1] = y / length;
    normal[2] = z / length;
  } else {
    normal[0] = 1;
    normal[1] = 0;
    normal[2] = 0;
  }
  return length;
}

function boxDistance(shape: CompiledShape, x: number, y: number, z: number, normal: Float64Array): number {
  const qx = Math.abs(x) - shape.a;
  const qy = Math.abs(y) - shape.b;
  const qz = Math.abs(z) - shape.c;
  if (qx > 0 || qy > 0 || qz > 0) {
    const ox = Math.max(qx, 0);
    const oy = Math.max(qy, 0);
    const oz = Math.max(qz, 0);
    const distance = Math.sqrt(ox * ox + oy * oy + oz * oz);
    normal[0] = (x < 0 ? -ox : ox) / distance;
    normal[1] = (y < 0 ? -oy : oy) / distance;
    normal[2] = (z < 0 ? -oz : oz) / distance;
    return distance;
  }
  normal[0] = 0;
  normal[1] = 0;
  normal[2] = 0;
  if (qx >= qy && qx >= qz) {
    normal[0] = x < 0 ? -1 : 1;
    return qx;
  }
  if (qy >= qz) {
    normal[1] = y < 0 ? -1 : 1;
    return qy;
  }
  normal[2] = z < 0 ? -1 : 1;
  return qz;
}

function cylinderDistance(
  shape: CompiledShape,
  x: number,
  y: number,
  z: number,
  normal: Float64Array,
): number {
  const radial = Math.sqrt(x * x + z * z);
  const side = radial - shape.a;
  const end = Math.abs(y) - shape.b;
  const ux = radial > 0 ? x / radial : 1;
  const uz = radial > 0 ? z / radial : 0;
  const up = y < 0 ? -1 : 1;
  if (side > 0 && end > 0) {
    const distance = Math.sqrt(side * side + end * end);
    normal[0] = (ux * side) / distance;
    normal[1] = (up * end) / distance;
    normal[2] = (uz * side) / distance;
    return distance;
  }
  if (side >= end) {
    normal[0] = ux;
    normal[1] = 0;
    normal[2] = uz;
    return side;
  }
  normal[0] = 0;
  normal[1] = up;
  normal[2] = 0;
  return end;
}
