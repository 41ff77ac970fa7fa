/**
 * Faces of a hull in groups whose normals are alike, so that the face nearest to a point inside is found without a look
 * at each: with the point at c + v, a face's plane is n·v - e above it, and in a group with the mean normal a no plane
 * is higher than a·v + r |v| - e₀, where r is how far its normals are from a at most, and e₀ its least e.
 */
export interface FaceGroups {
  /** c: a point inside. */
  readonly centre: Float64Array;
  /** First face of each group, and at the end the number of faces. */
  readonly start: Uint16Array;
  /** BOUND_STRIDE numbers a group: a, r, e₀. */
  readonly bounds: Float64Array;
}

export const BOUND_STRIDE = 5;
/** Small enough that their normals are alike, and large enough that not all time goes into groups. */
const MOST_FACES = 16;

/**
 * @param planes n and offset of each face, four numbers
 * @returns the faces' numbers, group by group, and the groups over faces in that order
 */
export function groupFaces(
  planes: ArrayLike<number>,
  centre: Float64Array,
): { order: number[]; groups: FaceGroups } {
  const order: number[] = [];
  const start: number[] = [];
  const bounds: number[] = [];
  const split = (faces: number[]): void => {
    if (faces.length > MOST_FACES) {
      const axis = widestAxis(planes, faces);
      faces.sort((f, g) => planes[4 * f + axis] - planes[4 * g + axis] || f - g);
      split(faces.slice(0, faces.length >> 1));
      split(faces.slice(faces.length >> 1));
      return;
    }
    start.push(order.length);
    order.push(...faces);
    bounds.push(...boundOf(planes, faces, centre));
  };
  split(Array.from({ length: planes.length / 4 }, (_, face) => face));
  start.push(order.length);
  return {
    order,
    groups: { centre, start: Uint16Array.from(start), bounds: Float64Array.from(bounds) },
  };
}

function widestAxis(planes: ArrayLike<number>, faces: readonly number[]): number {
  const widths = [0, 1, 2].map((axis) => {
    const along = faces.map((face) => planes[4 * face + axis]);
    return Math.max(...along) - Math.min(...along);
  });
  return widths.indexOf(Math.max(...widths));
}

function boundOf(planes: ArrayLike<number>, faces: readonly number[], centre: Float64Array): number[] {
  const normal = (face: number): number[] => [0, 1, 2].map((axis) => planes[4 * face + axis]);
  const mean = [0, 1, 2].map(
    (axis) => faces.reduce((sum, f) => sum + planes[4 * f + axis], 0) / faces.length,
  );
  const apart = faces.map((face) => Math.hypot(...normal(face).map((n, axis) => n - mean[axis])));
  const depths = faces.map((face) =>
    normal(face).reduce((rest, n, axis) => rest - n * centre[axis], planes[4 * face + 3]),
  );
  return [...mean, Math.max(...apart), Math.min(...depths)];
}
