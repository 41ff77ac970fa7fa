/**
 * Quickhull (Barber, Dobkin & Huhdanpaa, ACM Transactions on Mathematical Software 22(4), 1996) with triangular
 * faces, in flat arrays: an app may send another hull of 256 points with every message, and whoever wants to let go
 * waits for the one that is being built.
 */

/** A closed surface of triangles. What it says of faces that are not alive means nothing. */
export interface Surface {
  /** Faces in use and given up, 0..count - 1. */
  count: number;
  /** Per face: 1 if it belongs to the surface. */
  readonly alive: Uint8Array;
  /** Three point indices a face, counter-clockwise seen from outside. */
  readonly corners: Int32Array;
  /** Outward unit normal and offset of each face's plane: n·x = d. */
  readonly planes: Float64Array;
}

const NONE = -1;

/**
 * @param points x, y, z each
 * @param start four of them that enclose a volume, the fourth behind the face of the first three
 * @param tolerance a point less far outside is left out, m
 * @returns undefined when rounding has made the surface fall apart
 */
export function quickhull(
  points: Float64Array,
  start: readonly number[],
  tolerance: number,
): Surface | undefined {
  const build = createBuild(points, tolerance);
  const [a, b, c, d] = start;
  const { surface, add, join, fan, visible, assign, first, next, eyeOf } = build;
  for (const [u, v, w] of [
    [a, b, c],
    [b, a, d],
    [c, b, d],
    [a, c, d],
  ]) {
    fan.push(add(u, v, w));
  }
  // Edge 0 of a face goes from its first corner to its second, and so on round.
  join(0, 0, 1, 0);
  join(0, 1, 2, 0);
  join(0, 2, 3, 0);
  join(1, 1, 3, 2);
  join(1, 2, 2, 1);
  join(2, 2, 3, 1);
  for (let point = 0; point < points.length / 3; point++) {
    if (point !== a && point !== b && point !== c && point !== d) assign(point);
  }
  // In the order in which faces are made; a place that a later face has taken is looked at again, to no harm.
  const facesToDo = [...fan];
  for (let at = 0; at < facesToDo.length; at++) {
    const face = facesToDo[at];
    if (surface.alive[face] === 0 || first[face] === NONE) continue;
    const eye = eyeOf[face];
    if (!build.cover(face, eye)) return undefined;
    for (const seen of visible) {
      for (let point = first[seen]; point !== NONE; ) {
        const after = next[point];
        if (point !== eye) assign(point);
        point = after;
      }
    }
    build.giveUpVisible();
    for (const made of fan) if (first[made] !== NONE) facesToDo.push(made);
  }
  return surface;
}

function createBuild(points: Float64Array, tolerance: number) {
  const pointCount = points.length / 3;
  // A closed surface of V points has 2V - 4 triangles (Euler); a fan is made before what it covers is given up.
  const capacity = 4 * pointCount;
  const surface: Surface = {
    count: 0,
    alive: new Uint8Array(capacity),
    corners: new Int32Array(3 * capacity),
    planes: new Float64Array(4 * capacity),
  };
  const { alive, corners, planes } = surface;
  /** Per face and edge: the face across. */
  const across = new Int32Array(3 * capacity);
  /** Points outside of a face, a list: the first and last of the face, and the next of each point. */
  const first = new Int32Array(capacity).fill(NONE);
  const last = new Int32Array(capacity);
  const next = new Int32Array(pointCount).fill(NONE);
  /** The farthest of them, and how far. */
  const eyeOf = new Int32Array(capacity);
  const eyeHeight = new Float64Array(capacity);
  const free: number[] = [];
  const visible: number[] = [];
  /** The newest faces: points that lost theirs look for one among these. */
  const fan: number[] = [];
  /** Edges between what is seen and what is not, as 3 × face + edge on the side that is not. */
  const horizon: number[] = [];
  /** Per point: the face of the fan whose edge from the horizon begins there. */
  const fanAt = new Int32Array(pointCount).fill(NONE);

  function add(u: number, v: number, w: number): number {
    const face = free.pop() ?? surface.count++;
    corners[3 * face] = u;
    corners[3 * face + 1] = v;
    corners[3 * face + 2] = w;
    const x = points[3 * u];
    const y = points[3 * u + 1];
    const z = points[3 * u + 2];
    const ax = points[3 * v] - x;
    const ay = points[3 * v + 1] - y;
    const az = points[3 * v + 2] - z;
    const bx = points[3 * w] - x;
    const by = points[3 * w + 1] - y;
    const bz = points[3 * w + 2] - z;
    const cx = ay * bz - az * by;
    const cy = az * bx - ax * bz;
    const cz = ax * by - ay * bx;
    const length = Math.sqrt(cx * cx + cy * cy + cz * cz);
    const nx = cx / length;
    const ny = cy / length;
    const nz = cz / length;
    planes[4 * face] = nx;
    planes[4 * face + 1] = ny;
    planes[4 * face + 2] = nz;
    planes[4 * face + 3] = nx * x + ny * y + nz * z;
    alive[face] = 1;
    first[face] = NONE;
    eyeHeight[face] = tolerance;
    return face;
  }

  const height = (face: number, point: number): number =>
    planes[4 * face] * points[3 * point] +
    planes[4 * face + 1] * points[3 * point + 1] +
    planes[4 * face + 2] * points[3 * point + 2] -
    planes[4 * face + 3];

  function join(face: number, edge: number, other: number, otherEdge: number): void {
    across[3 * face + edge] = other;
    across[3 * other + otherEdge] = face;
  }

  /** Gives a point to the newest face that it is farthest outside of; one that is outside of none is done with. */
  function assign(point: number): void {
    let best = tolerance;
    let owner = NONE;
    for (let i = 0; i < fan.length; i++) {
      const above = height(fan[i], point);
      if (above > best) {
        best = above;
        owner = fan[i];
      }
    }
    if (owner === NONE) return;
    if (first[owner] === NONE) first[owner] = point;
    else next[last[owner]] = point;
    last[owner] = point;
    next[point] = NONE;
    if (best > eyeHeight[owner]) {
      eyeHeight[owner] = best;
      eyeOf[owner] = point;
    }
  }

  /** Finds all that is seen from a point, from a face on, and spans a fan from its edge. @returns false: no closed edge */
  function cover(from: number, eye: number): boolean {
    visible.length = 0;
    horizon.length = 0;
    alive[from] = 0;
    visible.push(from);
    for (let i = 0; i < visible.length; i++) {
      for (let edge = 0; edge < 3; edge++) {
        const other = across[3 * visible[i] + edge];
        if (alive[other] === 1 && height(other, eye) > tolerance) {
          alive[other] = 0;
          visible.push(other);
        }
      }
    }
    for (const face of visible) {
      for (let edge = 0; edge < 3; edge++) {
        const other = across[3 * face + edge];
        if (alive[other] === 0) continue;
        for (let back = 0; back < 3; back++) {
          if (
            across[3 * other + back] === face &&
            corners[3 * other + back] === corners[3 * face + after(edge)]
          ) {
            horizon.push(3 * other + back);
          }
        }
      }
    }
    return spanFan(eye);
  }

  function spanFan(eye: number): boolean {
    fan.length = 0;
    for (const edge of horizon) {
      const other = Math.floor(edge / 3);
      const back = edge % 3;
      const v = corners[edge];
      const u = corners[3 * other + after(back)];
      if (fanAt[u] !== NONE || surface.count >= capacity - 1) return false;
      const face = add(u, v, eye);
      join(face, 0, other, back);
      fanAt[u] = face;
      fan.push(face);
    }
    let closed = fan.length >= 3;
    for (const face of fan) {
      const beside = fanAt[corners[3 * face + 1]];
      if (beside === NONE) closed = false;
      else join(face, 1, beside, 2);
    }
    for (const face of fan) fanAt[corners[3 * face]] = NONE;
    return closed;
  }

  /** Their places go to the next faces. */
  function giveUpVisible(): void {
    for (const face of visible) {
      first[face] = NONE;
      free.push(face);
    }
  }

  return { surface, add, join, assign, cover, giveUpVisible, visible, fan, first, next, eyeOf };
}

const after = (edge: number): number => (edge === 2 ? 0 : edge + 1);
