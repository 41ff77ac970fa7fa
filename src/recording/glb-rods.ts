import { JOINT_COUNT, JOINT_PARENT } from '../hand/joints.js';
import { ARRAY_BUFFER, type GlbBuilder } from './glb.js';
import { type Track, unit } from './glb-tracks.js';

/** Shapes of the plain form: a ball of radius 1, and a tube of radius 1 from the origin to -Z = 1. */
export interface Rods {
  /** Hangs a ball on every joint, and a tube on every bone. */
  addTo(children: readonly number[][], track: Track, material: number): void;
}

export function addRods(glb: GlbBuilder): Rods {
  const ball = addMesh(glb, sphere(16, 10));
  const tube = addMesh(glb, cylinder(16));
  return {
    addTo(children, track, material) {
      const { nodes, meshes } = glb.json;
      const meshOf = (attributes: object): number => {
        meshes.push({ primitives: [{ ...attributes, material }] });
        return meshes.length - 1;
      };
      const ballMesh = meshOf(ball);
      const tubeMesh = meshOf(tube);
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        const radius = track.radii[joint];
        nodes.push({ mesh: ballMesh, scale: [radius, radius, radius] });
        children[joint].push(nodes.length - 1);
        const parent = JOINT_PARENT[joint];
        if (parent < 0) continue;
        const offset = track.locals.slice(joint * 7, joint * 7 + 3);
        const length = Math.hypot(...offset);
        const width = 0.75 * Math.min(radius, track.radii[parent]);
        nodes.push({ mesh: tubeMesh, rotation: turnTo(offset, length), scale: [width, width, length] });
        children[parent].push(nodes.length - 1);
      }
    },
  };
}

/** Rotation that takes -Z to the direction of `offset`. */
function turnTo(offset: readonly number[], length: number): number[] {
  if (length < 1e-9) return [0, 0, 0, 1];
  const [x, y, z] = offset.map((part) => part / length);
  // Half-way quaternion: axis (-Z) × d, and 1 + (-Z) · d.
  if (1 - z < 1e-9) return [0, 1, 0, 0];
  return unit([y, -x, 0, 1 - z]);
}

interface Surface {
  points: number[];
  normals: number[];
  triangles: number[];
}

function addMesh(glb: GlbBuilder, { points, normals, triangles }: Surface): object {
  return {
    attributes: {
      POSITION: glb.floats(Float32Array.from(points), 'VEC3', ARRAY_BUFFER),
      NORMAL: glb.floats(Float32Array.from(normals), 'VEC3', ARRAY_BUFFER),
    },
    indices: glb.indices(Uint16Array.from(triangles)),
  };
}

/** Radius 1. */
function sphere(around: number, down: number): Surface {
  const points: number[] = [];
  const triangles: number[] = [];
  for (let row = 0; row <= down; row++) {
    const polar = (Math.PI * row) / down;
    for (let column = 0; column <= around; column++) {
      const turn = (2 * Math.PI * column) / around;
      points.push(Math.sin(polar) * Math.cos(turn), Math.cos(polar), Math.sin(polar) * Math.sin(turn));
    }
  }
  for (let row = 0; row < down; row++) {
    for (let column = 0; column < around; column++) {
      const a = row * (around + 1) + column;
      const b = a + around + 1;
      if (row > 0) triangles.push(a, a + 1, b);
      if (row < down - 1) triangles.push(a + 1, b + 1, b);
    }
  }
  return { points, normals: points, triangles };
}

/** Radius 1, from the origin to -Z = 1, open at its ends, which balls cover. */
function cylinder(around: number): Surface {
  const points: number[] = [];
  const normals: number[] = [];
  const triangles: number[] = [];
  for (let column = 0; column <= around; column++) {
    const turn = (2 * Math.PI * column) / around;
    for (const z of [0, -1]) {
      points.push(Math.cos(turn), Math.sin(turn), z);
      normals.push(Math.cos(turn), Math.sin(turn), 0);
    }
    const a = column * 2;
    if (column < around) triangles.push(a, a + 1, a + 2, a + 2, a + 1, a + 3);
  }
  return { points, normals, triangles };
}
