import { type FaceGroups, groupFaces } from './face-groups.js';
import { quickhull, type Surface } from './quickhull.js';

/**
 * Convex hull of points, with triangular faces. Points closer to the hull than a tolerance are left out, and the
 * result is checked before it is returned, so a caller never gets a broken polyhedron.
 */

/** A closed convex polyhedron. Every array is flat. */
export interface Hull {
  /** Vertices x, y, z. */
  readonly vertices: Float64Array;
  /** Three vertex indices a face, counter-clockwise seen from outside. */
  readonly faces: Uint16Array;
  /** Outward unit normal and offset of each face's plane: n·x = d. */
  readonly planes: Float64Array;
  /** Of the faces, in their order. */
  readonly groups: FaceGroups;
  /** Neighbours of vertex i along edges: neighbours[neighbourStart[i]] up to neighbourStart[i + 1]. */
  readonly neighbourStart: Uint16Array;
  readonly neighbours: Uint16Array;
  /** Their coordinates in the same order, x y z each: a walk along the edges reads them in one go. */
  readonly neighbourVertices: Float64Array;
}

/** Why points have no hull. */
export type HullFault = 'fewPoints' | 'notFinite' | 'flat' | 'failed';

/** Thickness over size below which points count as flat. */
const FLATNESS = 1e-5;
/** Tolerances over size, tried in order: a hull that fails its check is built again with the next. */
const TOLERANCES = [1e-9, 1e-7, 1e-5];

/** Builds the hull of 4 or more points [x, y, z], or says why there is none. */
export function buildHull(points: readonly (readonly number[])[]): Hull | HullFault {
  if (points.length < 4) return 'fewPoints';
  const flat = new Float64Array(3 * points.length);
  let size = 0;
  for (let i = 0; i < points.length; i++) {
    for (let axis = 0; axis < 3; axis++) {
      const x = points[i][axis];
      if (!Number.isFinite(x)) return 'notFinite';
      flat[3 * i + axis] = x;
      size = Math.max(size, Math.abs(x - flat[axis]));
    }
  }
  const start = firstTetrahedron(flat, size);
  if (!start) return 'flat';
  for (const tolerance of TOLERANCES) {
    const surface = quickhull(flat, start, tolerance * size);
    if (surface && isClosedAndConvex(flat, surface, 10 * tolerance * size)) return pack(flat, surface);
  }
  return 'failed';
}

function firstTetrahedron(points: Float64Array, size: number): number[] | undefined {
  const [x, y, z] = points;
  const a = farthest(points, (px, py, pz) => (px - x) ** 2 + (py - y) ** 2 + (pz - z) ** 2);
  const [ax, ay, az] = pointAt(points, a);
  if (!(Math.hypot(ax - x, ay - y, az - z) > 0)) return undefined;
  const b = farthest(points, (px, py, pz) => (px - ax) ** 2 + (py - ay) ** 2 + (pz - az) ** 2);
  const along = unit(subtract(pointAt(points, b), [ax, ay, az]));
  const offLine = (px: number, py: number, pz: number): number => {
    const [cx, cy, cz] = cross(along, [px - ax, py - ay, pz - az]);
    return cx * cx + cy * cy + cz * cz;
  };
  const c = farthest(points, offLine);
  const normal = cross(along, subtract(pointAt(points, c), [ax, ay, az]));
  if (!(Math.hypot(...normal) > FLATNESS * size)) return undefined;
  const [nx, ny, nz] = unit(normal);
  const height = (px: number, py: number, pz: number): number =>
    nx * (px - ax) + ny * (py - ay) + nz * (pz - az);
  const d = farthest(points, (px, py, pz) => Math.abs(height(px, py, pz)));
  const above = height(...pointAt(points, d));
  if (!(Math.abs(above) > FLATNESS * size)) return undefined;
  // The fourth point must be behind the first face.
  return above < 0 ? [a, b, c, d] : [a, c, b, d];
}

/** Index of the point of which `measure` says most. */
function farthest(points: Float64Array, measure: (x: number, y: number, z: number) => number): number {
  let best = 0;
  let at = 0;
  for (let i = 0; i < points.length; i += 3) {
    const value = measure(points[i], points[i + 1], points[i + 2]);
    if (value > best) {
      best = value;
      at = i / 3;
    }
  }
  return at;
}

/** Every edge belongs to two faces, the surface is one sphere (Euler), and no point is outside. */
function isClosedAndConvex(points: Float64Array, surface: Surface, tolerance: number): boolean {
  const { count, alive, corners, planes } = surface;
  const pointCount = points.length / 3;
  /** One bit for each directed edge u -> v. */
  const directed = new Uint32Array((pointCount * pointCount + 31) >>> 5);
  const used = new Uint8Array(pointCount);
  let faces = 0;
  let vertices = 0;
  for (let face = 0; face < count; face++) {
    if (alive[face] === 0) continue;
    faces++;
    const nx = planes[4 * face];
    const ny = planes[4 * face + 1];
    const nz = planes[4 * face + 2];
    const most = planes[4 * face + 3] + tolerance;
    // Written so that what is not a number is refused.
    for (let i = 0; i < points.length; i += 3) {
      if (!(nx * points[i] + ny * points[i + 1] + nz * points[i + 2] <= most)) return false;
    }
    for (let edge = 0; edge < 3; edge++) {
      const u = corners[3 * face + edge];
      const at = u * pointCount + corners[3 * face + ((edge + 1) % 3)];
      if ((directed[at >>> 5] & (1 << (at & 31))) !== 0) return false;
      directed[at >>> 5] |= 1 << (at & 31);
      if (used[u] === 0) vertices++;
      used[u] = 1;
    }
  }
  for (let face = 0; face < count; face++) {
    if (alive[face] === 0) continue;
    for (let edge = 0; edge < 3; edge++) {
      const back = corners[3 * face + ((edge + 1) % 3)] * pointCount + corners[3 * face + edge];
      if ((directed[back >>> 5] & (1 << (back & 31))) === 0) return false;
    }
  }
  // Each edge was counted three times a face and belongs to two of them.
  return vertices - (3 * faces) / 2 + faces === 2;
}

function pack(points: Float64Array, { count, alive, corners, planes }: Surface): Hull {
  const indexOf = new Int32Array(points.length / 3).fill(-1);
  const used: number[] = [];
  const centre = new Float64Array(3);
  const standing: number[] = [];
  for (let face = 0; face < count; face++) if (alive[face] !== 0) standing.push(face);
  const own = new Float64Array(4 * standing.length);
  for (let i = 0; i < standing.length; i++) {
    own.set(planes.subarray(4 * standing[i], 4 * standing[i] + 4), 4 * i);
    for (let corner = 0; corner < 3; corner++) {
      const point = corners[3 * standing[i] + corner];
      for (let axis = 0; axis < 3; axis++) centre[axis] += points[3 * point + axis] / (3 * standing.length);
    }
  }
  const { order, groups } = groupFaces(own, centre);
  const faces: number[] = [];
  const kept = new Float64Array(own.length);
  for (let i = 0; i < order.length; i++) {
    const face = standing[order[i]];
    kept.set(planes.subarray(4 * face, 4 * face + 4), 4 * i);
    for (let corner = 0; corner < 3; corner++) {
      const point = corners[3 * face + corner];
      if (indexOf[point] < 0) indexOf[point] = used.push(point) - 1;
      faces.push(indexOf[point]);
    }
  }
  // Each corner of a face has the next one for a neighbour; the surface is closed, so that is every one, once.
  const neighbourStart = new Uint16Array(used.length + 1);
  for (const vertex of faces) neighbourStart[vertex + 1]++;
  for (let vertex = 0; vertex < used.length; vertex++) neighbourStart[vertex + 1] += neighbourStart[vertex];
  const filled = neighbourStart.slice();
  const neighbours = new Uint16Array(faces.length);
  const neighbourVertices = new Float64Array(3 * faces.length);
  for (let at = 0; at < faces.length; at++) {
    const next = faces[at % 3 === 2 ? at - 2 : at + 1];
    const place = filled[faces[at]]++;
    neighbours[place] = next;
    neighbourVertices.set(points.subarray(3 * used[next], 3 * used[next] + 3), 3 * place);
  }
  const vertices = new Float64Array(3 * used.length);
  used.forEach((point, i) => {
    vertices.set(points.subarray(3 * point, 3 * point + 3), 3 * i);
  });
  return {
    vertices,
    faces: Uint16Array.from(faces),
    planes: kept,
    groups,
    neighbourStart,
    neighbours,
    neighbourVertices,
  };
}

type Vector = [number, number, number];

const pointAt = (points: Float64Array, i: number): Vector => [
  points[3 * i],
  points[3 * i + 1],
  points[3 * i + 2],
];
const subtract = (a: Vector, b: Vector): Vector => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const unit = (a: Vector): Vector => {
  const length = Math.hypot(...a);
  return [a[0] / length, a[1] / length, a[2] / length];
};
const cross = (a: Vector, b: Vector): Vector => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
