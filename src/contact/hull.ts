/**
 * Convex hull of points: quickhull (Barber, Dobkin & Huhdanpaa, ACM Transactions on Mathematical Software 22(4),
 * 1996) with triangular faces. Points closer to the hull than a tolerance are left out, and the result is checked
 * before it is returned, so a caller never gets a broken polyhedron.
 */

/** A closed convex polyhedron. Every array is flat. */
export interface Hull {
  /** Vertices x, y, z. */
  readonly vertices: Float64Array;
  /** Three vertex indices a face, counter-clockwise seen from outside. */
  readonly faces: Uint16Array;
  /** Outward unit normal and offset of each face's plane: n·x = d. */
  readonly planes: Float64Array;
  /** Neighbours of vertex i along edges: neighbours[neighbourStart[i]] up to neighbourStart[i + 1]. */
  readonly neighbourStart: Uint16Array;
  readonly neighbours: Uint16Array;
  /** Their coordinates in the same order, x y z each: a walk along the edges reads them in one go. */
  readonly neighbourVertices: Float64Array;
}

/** Why points have no hull. */
export type HullFault = 'fewPoints' | 'notFinite' | 'flat' | 'failed';

interface Face {
  a: number;
  b: number;
  c: number;
  nx: number;
  ny: number;
  nz: number;
  d: number;
  outside: number[];
  alive: boolean;
}

/** Thickness over size below which points count as flat. */
const FLATNESS = 1e-5;
/** Tolerances over size, tried in order: a hull that fails its check is built anew with the next. */
const TOLERANCES = [1e-9, 1e-7, 1e-5];

/** Builds the hull of 4 or more points [x, y, z], or says why there is none. */
export function buildHull(points: readonly (readonly number[])[]): Hull | HullFault {
  if (points.length < 4) return 'fewPoints';
  let size = 0;
  for (const point of points) {
    for (let axis = 0; axis < 3; axis++) {
      if (!Number.isFinite(point[axis])) return 'notFinite';
      size = Math.max(size, Math.abs(point[axis] - points[0][axis]));
    }
  }
  const start = firstTetrahedron(points, size);
  if (!start) return 'flat';
  for (const tolerance of TOLERANCES) {
    const faces = quickhull(points, start, tolerance * size);
    if (faces && isClosedAndConvex(points, faces, 10 * tolerance * size)) return pack(points, faces);
  }
  return 'failed';
}

function firstTetrahedron(points: readonly (readonly number[])[], size: number) {
  const farthest = (measure: (point: readonly number[]) => number): [number, number] => {
    let best = 0;
    let at = 0;
    for (const [i, point] of points.entries()) {
      const value = measure(point);
      if (value > best) {
        best = value;
        at = i;
      }
    }
    return [at, best];
  };
  const first = points[0];
  const [a, width] = farthest((p) => Math.hypot(p[0] - first[0], p[1] - first[1], p[2] - first[2]));
  if (!(width > 0)) return undefined;
  const origin = points[a];
  const [b, length] = farthest((p) => Math.hypot(p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]));
  const along = subtract(points[b], origin).map((x) => x / length);
  const [c, breadth] = farthest((p) => Math.hypot(...cross(along, subtract(p, origin))));
  if (!(breadth > FLATNESS * size)) return undefined;
  const normal = cross(along, subtract(points[c], origin)).map((x) => x / breadth);
  const height = (p: readonly number[]) => dot(normal, subtract(p, origin));
  const [d, thickness] = farthest((p) => Math.abs(height(p)));
  if (!(thickness > FLATNESS * size)) return undefined;
  // The fourth point must be behind the first face.
  return height(points[d]) < 0 ? [a, b, c, d] : [a, c, b, d];
}

function quickhull(points: readonly (readonly number[])[], start: number[], tolerance: number) {
  const [a, b, c, d] = start;
  const faces: Face[] = [];
  /** Face that has the directed edge from `u` to `v`. */
  const edges = new Map<number, Face>();
  const key = (u: number, v: number): number => u * 65536 + v;
  const add = (u: number, v: number, w: number): Face => {
    const normal = cross(subtract(points[v], points[u]), subtract(points[w], points[u]));
    const length = Math.hypot(...normal);
    const [nx, ny, nz] = normal.map((x) => x / length);
    const [x, y, z] = points[u];
    const face = { a: u, b: v, c: w, nx, ny, nz, d: nx * x + ny * y + nz * z, outside: [], alive: true };
    faces.push(face);
    edges.set(key(u, v), face);
    edges.set(key(v, w), face);
    edges.set(key(w, u), face);
    return face;
  };
  const above = (face: Face, point: readonly number[]): number =>
    face.nx * point[0] + face.ny * point[1] + face.nz * point[2] - face.d;
  const assign = (candidates: readonly Face[], point: number): void => {
    let best = tolerance;
    let owner: Face | undefined;
    for (const face of candidates) {
      const height = above(face, points[point]);
      if (height > best) {
        best = height;
        owner = face;
      }
    }
    owner?.outside.push(point);
  };

  const first = [add(a, b, c), add(b, a, d), add(c, b, d), add(a, c, d)];
  for (const i of points.keys()) if (!start.includes(i)) assign(first, i);

  for (let next = 0; next < faces.length; next++) {
    const face = faces[next];
    if (!face.alive || face.outside.length === 0) continue;
    let eye = face.outside[0];
    for (const i of face.outside) if (above(face, points[i]) > above(face, points[eye])) eye = i;

    face.alive = false;
    const visible = [face];
    const horizon: [number, number][] = [];
    for (const seen of visible) {
      for (const [u, v] of edgesOf(seen)) {
        const across = edges.get(key(v, u));
        if (!across) return undefined;
        if (!across.alive) continue;
        if (above(across, points[eye]) > tolerance) {
          across.alive = false;
          visible.push(across);
        }
      }
    }
    for (const seen of visible) {
      for (const [u, v] of edgesOf(seen)) if (edges.get(key(v, u))?.alive) horizon.push([u, v]);
    }
    const fan = horizon.map(([u, v]) => add(u, v, eye));
    for (const seen of visible) {
      for (const i of seen.outside) if (i !== eye) assign(fan, i);
      seen.outside = [];
    }
  }
  return faces.filter((face) => face.alive);
}

const edgesOf = (face: Face): [number, number][] => [
  [face.a, face.b],
  [face.b, face.c],
  [face.c, face.a],
];

/** Every edge belongs to two faces, the surface is one sphere (Euler), and no point is outside. */
function isClosedAndConvex(
  points: readonly (readonly number[])[],
  faces: readonly Face[],
  tolerance: number,
): boolean {
  const directed = new Set<number>();
  const vertices = new Set<number>();
  for (const face of faces) {
    if (!Number.isFinite(face.nx + face.ny + face.nz + face.d)) return false;
    for (const [u, v] of edgesOf(face)) {
      if (directed.has(u * 65536 + v)) return false;
      directed.add(u * 65536 + v);
      vertices.add(u);
    }
    for (const point of points) {
      if (face.nx * point[0] + face.ny * point[1] + face.nz * point[2] - face.d > tolerance) return false;
    }
  }
  for (const edge of directed)
    if (!directed.has((edge % 65536) * 65536 + Math.floor(edge / 65536))) return false;
  return vertices.size - directed.size / 2 + faces.length === 2;
}

function pack(points: readonly (readonly number[])[], faces: readonly Face[]): Hull {
  const used = [...new Set(faces.flatMap((face) => [face.a, face.b, face.c]))];
  const indexOf = new Map(used.map((point, i) => [point, i]));
  const neighbours: number[] = [];
  const neighbourStart = [0];
  for (const vertex of used) {
    for (const face of faces) {
      for (const [u, v] of edgesOf(face)) if (u === vertex) neighbours.push(indexOf.get(v)!);
    }
    neighbourStart.push(neighbours.length);
  }
  return {
    vertices: Float64Array.from(used.flatMap((i) => points[i].slice(0, 3))),
    faces: Uint16Array.from(faces.flatMap((face) => [face.a, face.b, face.c].map((i) => indexOf.get(i)!))),
    planes: Float64Array.from(faces.flatMap((face) => [face.nx, face.ny, face.nz, face.d])),
    neighbourStart: Uint16Array.from(neighbourStart),
    neighbours: Uint16Array.from(neighbours),
    neighbourVertices: Float64Array.from(neighbours.flatMap((i) => points[used[i]].slice(0, 3))),
  };
}

const subtract = (a: readonly number[], b: readonly number[]): number[] => [
  a[0] - b[0],
  a[1] - b[1],
  a[2] - b[2],
];
const dot = (a: readonly number[], b: readonly number[]): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a: readonly number[], b: readonly number[]): number[] => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
