import { TautlineError } from '../errors.js';
import { type HandSide, JOINT_COUNT, JOINT_NAMES, JOINT_PARENT, POSE_STRIDE, WRIST } from '../hand/joints.js';
import { multiply, rotate } from '../hand/rotation.js';
import { type Range, visitFrames } from './export-text.js';
import { ARRAY_BUFFER, createGlb, type GlbBuilder } from './glb.js';
import type { Session } from './session.js';

/**
 * A session as a glTF 2.0 animation: each hand is a tree of 26 nodes with the joints' names, animated, with a ball
 * at every joint and a tube along every bone. Metres, +Y up, as in the poses.
 *
 * A hand of which an app knew the place moves through the world as it did: the space of that app, in OpenXR its local
 * or stage space. What was recorded while nobody knew its place is then left out. Other hands stand side by side, each
 * around its wrist. `extras.space` of a hand's node says which: `world` or `wrist`.
 */

/** Displays show no more. */
const FRAMES_A_SECOND = 60;
/** An hour of two hands is some 180 MB. */
const MAX_FRAMES = 60 * 60 * FRAMES_A_SECOND;
/** A joint whose place beside its parent changes by less stands still. */
const STILL_M = 1e-5;
const HAND_GAP_M = 0.12;
const COLOUR: Record<HandSide, [number, number, number, number]> = {
  left: [0.16, 0.45, 0.55, 1],
  right: [0.78, 0.45, 0.22, 1],
};

interface Track {
  times: number[];
  /** Per key, JOINT_COUNT × [x, y, z, qx, qy, qz, qw], beside the parent. */
  locals: number[];
  radii: number[];
  space: 'wrist' | 'world';
}

/** @throws TautlineError when the part has no valid pose, or is too long for one file */
export function exportGlb(session: Session, { fromS, toS }: Range, generator: string): Uint8Array {
  const tracks = new Map<HandSide, Track>();
  visitFrames(session, (hand, { poses, valid, space }, atS) => {
    if (!valid || atS < fromS || atS > toS) return;
    let track = tracks.get(hand);
    if (track?.space === 'world' && space === 'wrist') return;
    if (!track || track.space !== space) {
      track = {
        space,
        times: [],
        locals: [],
        radii: Array.from({ length: JOINT_COUNT }, (_, j) => poses[j * POSE_STRIDE + 7]),
      };
      tracks.set(hand, track);
    }
    const time = atS - fromS;
    const last = track.times[track.times.length - 1] ?? Number.NEGATIVE_INFINITY;
    if (time < 0 || time - last < 1 / FRAMES_A_SECOND) return;
    if (track.times.length >= MAX_FRAMES) {
      throw new TautlineError(
        'tooLarge',
        `${session.file.path}: longer than one hour.`,
        'Export a part with --from and --to.',
      );
    }
    track.times.push(time);
    addLocals(track.locals, poses);
  });
  if (tracks.size === 0) {
    throw new TautlineError(
      'fileInvalid',
      `${session.file.path}: no valid pose in that part.`,
      'See `tautline info`.',
    );
  }

  const glb = createGlb(generator);
  const channels: object[] = [];
  const samplers: object[] = [];
  const ball = addMesh(glb, sphere(16, 10));
  const tube = addMesh(glb, cylinder(16));
  for (const [hand, track] of tracks) {
    const { nodes, meshes, materials, scenes } = glb.json;
    materials.push({
      name: `${hand} hand`,
      pbrMetallicRoughness: { baseColorFactor: COLOUR[hand], metallicFactor: 0, roughnessFactor: 0.7 },
    });
    const material = materials.length - 1;
    const meshOf = (attributes: object): number => {
      meshes.push({ primitives: [{ ...attributes, material }] });
      return meshes.length - 1;
    };
    const ballMesh = meshOf(ball);
    const tubeMesh = meshOf(tube);
    const children = Array.from({ length: JOINT_COUNT }, () => [] as number[]);
    const first = nodes.length;
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      const at = joint * 7;
      nodes.push({
        name: `${hand} ${JOINT_NAMES[joint]}`,
        translation: track.locals.slice(at, at + 3),
        rotation: unit(track.locals.slice(at + 3, at + 7)),
        children: children[joint],
      });
      if (JOINT_PARENT[joint] >= 0) children[JOINT_PARENT[joint]].push(first + joint);
    }
    // The palm comes before its parent, whose list was still empty then; every list is filled by now.
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
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      // A leaf has at least its ball; glTF permits no empty list.
      addAnimation(glb, track, joint, first + joint, samplers, channels);
    }
    const root = nodes.length;
    nodes.push({
      name: `${hand} hand`,
      // Side by side: each hand's own frame has its wrist at the origin. In the world, it is where it is.
      translation: [
        tracks.size === 1 || track.space === 'world' ? 0 : hand === 'left' ? -HAND_GAP_M : HAND_GAP_M,
        0,
        0,
      ],
      extras: { space: track.space },
      children: [first + WRIST],
    });
    scenes[0].nodes.push(root);
  }
  glb.json.animations = [{ name: 'session', samplers, channels }];
  return glb.build();
}

/** One input accessor for each hand, shared by its joints. */
const inputs = new WeakMap<Track, number>();

function addAnimation(
  glb: GlbBuilder,
  track: Track,
  joint: number,
  node: number,
  samplers: object[],
  channels: object[],
) {
  const { times, locals } = track;
  let input = inputs.get(track);
  if (input === undefined) {
    input = glb.floats(Float32Array.from(times), 'SCALAR');
    inputs.set(track, input);
  }
  const add = (path: string, output: number): void => {
    samplers.push({ input, output, interpolation: 'LINEAR' });
    channels.push({ sampler: samplers.length - 1, target: { node, path } });
  };
  const rotations = new Float32Array(times.length * 4);
  const places = new Float32Array(times.length * 3);
  let moves = false;
  for (let key = 0; key < times.length; key++) {
    const at = (key * JOINT_COUNT + joint) * 7;
    for (let i = 0; i < 3; i++) {
      places[key * 3 + i] = locals[at + i];
      if (Math.abs(locals[at + i] - locals[joint * 7 + i]) > STILL_M) moves = true;
    }
    const q = unit(locals.slice(at + 3, at + 7));
    const before = key === 0 ? q : [...rotations.subarray(key * 4 - 4, key * 4)];
    const sign = q[0] * before[0] + q[1] * before[1] + q[2] * before[2] + q[3] * before[3] < 0 ? -1 : 1;
    for (let i = 0; i < 4; i++) rotations[key * 4 + i] = sign * q[i];
  }
  add('rotation', glb.floats(rotations, 'VEC4'));
  if (moves) add('translation', glb.floats(places, 'VEC3'));
}

/** Appends every joint's pose beside its parent. */
function addLocals(into: number[], poses: Float64Array): void {
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    const at = joint * POSE_STRIDE;
    const parent = JOINT_PARENT[joint];
    const q = poses.subarray(at + 3, at + 7);
    if (parent < 0) {
      into.push(poses[at], poses[at + 1], poses[at + 2], q[0], q[1], q[2], q[3]);
      continue;
    }
    const up = parent * POSE_STRIDE;
    const back = [-poses[up + 3], -poses[up + 4], -poses[up + 5], poses[up + 6]];
    const offset = [poses[at] - poses[up], poses[at + 1] - poses[up + 1], poses[at + 2] - poses[up + 2]];
    into.push(...rotate(back, offset), ...multiply(back, q));
  }
}

function unit(q: readonly number[]): number[] {
  const length = Math.hypot(...q);
  return q.map((part) => part / length);
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
