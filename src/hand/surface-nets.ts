/** Values at the corners of a grid of cubes; x runs fastest. */
export interface Field {
  readonly size: readonly [number, number, number];
  /** Edge of a cube, metres. */
  readonly step: number;
  /** Of corner 0, metres. */
  readonly origin: readonly [number, number, number];
  readonly values: Float32Array;
}

export interface Mesh {
  /** [x, y, z] each, metres. */
  positions: Float32Array;
  /** Corners of triangles, counter-clockwise seen from outside. */
  indices: Uint32Array;
}

/**
 * The surface where a field is 0, negative inside, as a closed mesh: a point in each cube that the surface passes
 * through, at the mean of where it cuts the cube's edges, and two triangles for each edge that it cuts.
 * Method: naive surface nets (S. F. F. Gibson, "Constrained elastic surface nets", 1998; from memory).
 */
export function meshField({ size, step, origin, values }: Field): Mesh {
  const [nx, ny, nz] = size;
  const strides = [1, nx, nx * ny];
  const pointOf = new Int32Array(values.length).fill(-1);
  const positions: number[] = [];
  const corners = new Float64Array(8);

  for (let z = 0; z + 1 < nz; z++) {
    for (let y = 0; y + 1 < ny; y++) {
      for (let x = 0; x + 1 < nx; x++) {
        const at = x + y * nx + z * nx * ny;
        let inside = 0;
        for (let corner = 0; corner < 8; corner++) {
          const value =
            values[at + (corner & 1) + ((corner >> 1) & 1) * strides[1] + (corner >> 2) * strides[2]];
          corners[corner] = value;
          if (value < 0) inside++;
        }
        if (inside === 0 || inside === 8) continue;
        let [sumX, sumY, sumZ, cuts] = [0, 0, 0, 0];
        for (let axis = 0; axis < 3; axis++) {
          const bit = 1 << axis;
          for (let corner = 0; corner < 8; corner++) {
            if (corner & bit) continue;
            const a = corners[corner];
            const b = corners[corner | bit];
            if (a < 0 === b < 0) continue;
            const part = a / (a - b);
            sumX += (corner & 1) + (axis === 0 ? part : 0);
            sumY += ((corner >> 1) & 1) + (axis === 1 ? part : 0);
            sumZ += (corner >> 2) + (axis === 2 ? part : 0);
            cuts++;
          }
        }
        pointOf[at] = positions.length / 3;
        positions.push(
          origin[0] + (x + sumX / cuts) * step,
          origin[1] + (y + sumY / cuts) * step,
          origin[2] + (z + sumZ / cuts) * step,
        );
      }
    }
  }

  const indices: number[] = [];
  for (let z = 1; z + 1 < nz; z++) {
    for (let y = 1; y + 1 < ny; y++) {
      for (let x = 1; x + 1 < nx; x++) {
        const at = x + y * nx + z * nx * ny;
        for (let axis = 0; axis < 3; axis++) {
          const here = values[at] < 0;
          if (here === values[at + strides[axis]] < 0) continue;
          const u = strides[(axis + 1) % 3];
          const v = strides[(axis + 2) % 3];
          // The four cubes around the edge, going around it.
          const [a, b, c, d] = [pointOf[at - u - v], pointOf[at - v], pointOf[at], pointOf[at - u]];
          if (here) indices.push(a, b, c, a, c, d);
          else indices.push(a, c, b, a, d, c);
        }
      }
    }
  }
  return { positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
}

/** Value between the corners, by all three axes; the nearest corner's beyond the grid. */
export function sampleField(field: Field, x: number, y: number, z: number): number {
  const { size, step, origin, values } = field;
  const nx = size[0];
  const layer = nx * size[1];
  const gx = within((x - origin[0]) / step, nx);
  const gy = within((y - origin[1]) / step, size[1]);
  const gz = within((z - origin[2]) / step, size[2]);
  const ix = Math.floor(gx);
  const iy = Math.floor(gy);
  const iz = Math.floor(gz);
  const fx = gx - ix;
  const fy = gy - iy;
  const fz = gz - iz;
  const at = ix + iy * nx + iz * layer;
  const a = values[at] + (values[at + 1] - values[at]) * fx;
  const b = values[at + nx] + (values[at + nx + 1] - values[at + nx]) * fx;
  const c = values[at + layer] + (values[at + layer + 1] - values[at + layer]) * fx;
  const d = values[at + layer + nx] + (values[at + layer + nx + 1] - values[at + layer + nx]) * fx;
  const near = a + (b - a) * fy;
  const far = c + (d - c) * fy;
  return near + (far - near) * fz;
}

const within = (value: number, most: number): number => Math.min(Math.max(value, 0), most - 1.001);
