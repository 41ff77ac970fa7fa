import { TautlineError } from '../errors.js';
import { type HandSide, JOINT_COUNT, JOINT_PARENT, POSE_STRIDE } from '../hand/joints.js';
import { multiply, rotate } from '../hand/rotation.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { World } from '../protocol/wrist-report.js';
import { type Range, visitFrames } from './export-text.js';
import type { GlbBuilder } from './glb.js';
import type { Session } from './session.js';

/** Displays show no more. */
const FRAMES_A_SECOND = 60;
/** An hour of two hands is some 180 MB. */
const MAX_FRAMES = 60 * 60 * FRAMES_A_SECOND;
/** A joint counts as still if its place relative to its parent changes by less. */
const STILL_M = 1e-5;

/** How one hand moves in a session. */
export interface Track {
  times: number[];
  /** Per key, JOINT_COUNT × [x, y, z, qx, qy, qz, qw], relative to the parent. */
  locals: number[];
  radii: number[];
  space: 'wrist' | 'world';
  /** Which world, where the app said so; `mixed`: it changed. */
  world: World | 'mixed' | undefined;
  /** Of the first key. */
  skeleton: Skeleton;
}

/** @throws TautlineError when the part has no valid pose, or is too long for one file */
export function collectTracks(session: Session, { fromS, toS }: Range): Map<HandSide, Track> {
  const tracks = new Map<HandSide, Track>();
  visitFrames(session, (hand, { poses, valid, space, world }, atS, { skeleton }) => {
    if (!valid || atS < fromS || atS > toS) return;
    let track = tracks.get(hand);
    if (track?.space === 'world' && space === 'wrist') return;
    if (!track || track.space !== space) {
      track = {
        space,
        world,
        times: [],
        locals: [],
        radii: Array.from({ length: JOINT_COUNT }, (_, j) => poses[j * POSE_STRIDE + 7]),
        skeleton,
      };
      tracks.set(hand, track);
    }
    if (track.world !== world) track.world = 'mixed';
    const time = atS - fromS;
    const last = track.times[track.times.length - 1] ?? Number.NEGATIVE_INFINITY;
    if (time < 0 || time - last < 1 / FRAMES_A_SECOND) return;
    if (track.times.length >= MAX_FRAMES) {
      throw new TautlineError(
        'tooLarge',
        `${session.file.path}: longer than one hour.`,
        'Export a part with --from and --until.',
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
  return tracks;
}

/** Adds the clip of a hand whose first joint is node `first`. */
export function addClip(glb: GlbBuilder, name: string, track: Track, first: number): void {
  const samplers: object[] = [];
  const channels: object[] = [];
  const input = glb.floats(Float32Array.from(track.times), 'SCALAR');
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    addJoint(glb, track, input, joint, first + joint, samplers, channels);
  }
  glb.json.animations ??= [];
  glb.json.animations.push({ name, samplers, channels });
}

function addJoint(
  glb: GlbBuilder,
  { times, locals }: Track,
  input: number,
  joint: number,
  node: number,
  samplers: object[],
  channels: object[],
): void {
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

export function unit(q: readonly number[]): number[] {
  const length = Math.hypot(...q);
  return q.map((part) => part / length);
}
