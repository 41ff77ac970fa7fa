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
/** Faces of a group: few enough that their normals are alike, and enough that not all time goes into groups. */
const USUAL_FACES = 16;

/**
 * Groups faces by where their normals come through a cube, of which each side is cut into squares.
 * @param planes n and offset of each face, four numbers
 * @returns the faces' numbers, group by group, and the groups over faces in that order
 */
export function groupFaces(
  planes: Float64Array,
  centre: Float64Array,
): { order: Uint16Array; groups: FaceGroups } {
  const faces = planes.length / 4;
  const cuts = Math.max(1, Math.round(Math.sqrt(faces / (6 * USUAL_FACES))));
  const squares = 6 * cuts * cuts;
  const squareOf = new Uint16Array(faces);
  const end = new Uint16Array(squares + 1);
  for (let face = 0; face < faces; face++) {
    squareOf[face] = squareAt(planes[4 * face], planes[4 * face + 1], planes[4 * face + 2], cuts);
    end[squareOf[face] + 1]++;
  }
  for (let square = 0; square < squares; square++) end[square + 1] += end[square];
  const begin = end.slice();
  const order = new Uint16Array(faces);
  for (let face = 0; face < faces; face++) order[begin[squareOf[face]]++] = face;
  const start = [...new Set(end)];
  const bounds = new Float64Array((start.length - 1) * BOUND_STRIDE);
  for (let group = 0; group < start.length - 1; group++) {
    setBound(bounds, group, planes, order.subarray(start[group], start[group + 1]), centre);
  }
  return { order, groups: { centre, start: Uint16Array.from(start), bounds } };
}

function squareAt(x: number, y: number, z: number, cuts: number): number {
  const [ax, ay, az] = [Math.abs(x), Math.abs(y), Math.abs(z)];
  const most = Math.max(ax, ay, az);
  const axis = most === ax ? 0 : most === ay ? 1 : 2;
  const [ahead, u, v] = axis === 0 ? [x, y, z] : axis === 1 ? [y, z, x] : [z, x, y];
  const side = 2 * axis + (ahead < 0 ? 1 : 0);
  const cell = (along: number): number =>
    Math.min(cuts - 1, Math.max(0, Math.floor((along / most + 1) * 0.5 * cuts)));
  return (side * cuts + cell(u)) * cuts + cell(v);
}

function setBound(
  bounds: Float64Array,
  group: number,
  planes: Float64Array,
  faces: Uint16Array,
  centre: Float64Array,
): void {
  let [ax, ay, az] = [0, 0, 0];
  for (const face of faces) {
    ax += planes[4 * face] / faces.length;
    ay += planes[4 * face + 1] / faces.length;
    az += planes[4 * face + 2] / faces.length;
  }
  let apart = 0;
  let least = Number.POSITIVE_INFINITY;
  for (const face of faces) {
    const nx = planes[4 * face];
    const ny = planes[4 * face + 1];
    const nz = planes[4 * face + 2];
    apart = Math.max(apart, Math.hypot(nx - ax, ny - ay, nz - az));
    least = Math.min(least, planes[4 * face + 3] - nx * centre[0] - ny * centre[1] - nz * centre[2]);
  }
  bounds.set([ax, ay, az, apart, least], group * BOUND_STRIDE);
}
