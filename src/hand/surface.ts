import {
  FINGER_BASE,
  FINGER_JOINTS,
  FINGERS,
  type HandSide,
  JOINT_COUNT,
  JOINT_FINGER,
  JOINT_PARENT,
  PALM,
  POSE_STRIDE,
  WRIST,
} from './joints.js';
import { nailsOf } from './nails.js';
import { conjugate, multiply, type Quaternion, rotate } from './rotation.js';
import { distanceToRoundCone, type RoundCone, smoothUnion } from './round-cone.js';
import { type Field, meshField, sampleField } from './surface-nets.js';
import { shapeOf } from './surface-shape.js';

/** First of the parts that are nails: NAIL + index into FINGERS. */
export const NAIL = FINGERS.length + 1;

/** A hand's skin as a closed mesh that follows its joints, and its nails. */
export interface HandSurface {
  /** [x, y, z] each in the bind pose, metres, wrist at the origin. */
  readonly positions: Float32Array;
  readonly normals: Float32Array;
  readonly indices: Uint32Array;
  /** Per point, four joints that carry it and how much each does; the four sum to 1. */
  readonly joints: Uint8Array;
  readonly weights: Float32Array;
  /** Per point: index into FINGERS; of the palm FINGERS.length; of nails NAIL + index into FINGERS. */
  readonly parts: Uint8Array;
  /** 26 × POSE_STRIDE: the pose that the points are given in. Fingers are stretched and a little apart. */
  readonly bindPoses: Float64Array;
}

/** Edge of the grid's cubes where nothing else is asked for, m. */
const STEP_M = 0.002;
/** Where the field is worked out around the skin, m. */
const BAND_M = 0.007;
/** How rounded parts meet, m: joints of a finger, of the palm, and where a finger leaves the palm. */
const ROUND_FINGER_M = 0.0022;
const ROUND_PALM_M = 0.011;
const ROUND_WEB_M = 0.007;
/** A bone that is further from a point than the nearest by this much carries it by a third as much, m. */
const SHARE_M = 0.0028;
const STRANGE = 3;
/** Fingers of the bind pose stand apart by this about their knuckles, towards the thumb, rad. */
const APART = [0, 0.09, 0, -0.08, -0.16];
const FAR_M = 1;

/**
 * Builds the skin of a hand, scaled to its joints and their radii: over each tip joint it lies at that joint's radius.
 * Takes some hundredths of a second: for the start, not for the frame loop.
 * @param restPoses 26 × POSE_STRIDE, wrist at the origin, fingers stretched (Skeleton.restPoses)
 * @param stepM distance of its points: 17,000 of them for 2 mm, 7,000 for 3 mm
 */
export function createHandSurface(restPoses: ArrayLike<number>, side: HandSide, stepM = STEP_M): HandSurface {
  const bindPoses = fingersApart(restPoses, side);
  const field = fieldOf(bindPoses, stepM);
  const skin = meshField(field);
  const nails = nailsOf(bindPoses);
  const skinCount = skin.positions.length / 3;
  const count = skinCount + nails.fingers.length;
  const positions = new Float32Array(count * 3);
  const normals = new Float32Array(count * 3);
  const indices = new Uint32Array(skin.indices.length + nails.indices.length);
  positions.set(skin.positions);
  positions.set(nails.positions, skinCount * 3);
  normals.set(nails.normals, skinCount * 3);
  indices.set(skin.indices);
  indices.set(
    nails.indices.map((index) => index + skinCount),
    skin.indices.length,
  );
  const tips = FINGERS.map((_, finger) => tipConeOf(bindPoses, finger));
  for (let n = 0; n < skinCount; n++) {
    settle(field, positions, normals, n * 3);
    for (const tip of tips) roundOff(tip, positions, n * 3);
  }
  const joints = new Uint8Array(count * 4);
  const weights = new Float32Array(count * 4);
  const parts = new Uint8Array(count);
  const carry = carriersOf(bindPoses);
  for (let n = 0; n < skinCount; n++) carry(positions, n, joints, weights, parts);
  for (const [n, finger] of nails.fingers.entries()) {
    const at = skinCount + n;
    joints.fill(FINGER_BASE[finger] + FINGER_JOINTS[finger] - 2, at * 4, at * 4 + 4);
    weights[at * 4] = 1;
    parts[at] = NAIL + finger;
  }
  return { positions, normals, indices, joints, weights, parts, bindPoses };
}

/** The rest pose with its fingers turned apart about their knuckles. */
function fingersApart(restPoses: ArrayLike<number>, side: HandSide): Float64Array {
  const poses = Float64Array.from(restPoses);
  const sense = side === 'right' ? 1 : -1;
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const knuckle = FINGER_BASE[finger] + 1;
    const at = knuckle * POSE_STRIDE;
    const half = (sense * APART[finger]) / 2;
    const own = quaternionOf(poses, knuckle);
    const turn = multiply(multiply(own, [0, Math.sin(half), 0, Math.cos(half)]), conjugate(own));
    const centre = [poses[at], poses[at + 1], poses[at + 2]];
    for (let joint = knuckle; joint < FINGER_BASE[finger] + FINGER_JOINTS[finger]; joint++) {
      const to = joint * POSE_STRIDE;
      const offset = rotate(turn, [
        poses[to] - centre[0],
        poses[to + 1] - centre[1],
        poses[to + 2] - centre[2],
      ]);
      for (let axis = 0; axis < 3; axis++) poses[to + axis] = centre[axis] + offset[axis];
      poses.set(multiply(turn, quaternionOf(poses, joint)), to + 3);
    }
  }
  return poses;
}

function quaternionOf(poses: ArrayLike<number>, joint: number): Quaternion {
  const at = joint * POSE_STRIDE + 3;
  return [poses[at], poses[at + 1], poses[at + 2], poses[at + 3]];
}

function fieldOf(poses: ArrayLike<number>, stepM: number): Field {
  const { fingers, palm, armEndM } = shapeOf(poses);
  const all = [...palm, ...fingers.flat()];
  const least = [FAR_M, FAR_M, FAR_M];
  const most = [-FAR_M, -FAR_M, -FAR_M];
  for (const [ax, ay, az, ra, bx, by, bz, rb] of all) {
    [ax, ay, az].forEach((value, axis) => {
      least[axis] = Math.min(least[axis], value - ra);
      most[axis] = Math.max(most[axis], value + ra);
    });
    [bx, by, bz].forEach((value, axis) => {
      least[axis] = Math.min(least[axis], value - rb);
      most[axis] = Math.max(most[axis], value + rb);
    });
  }
  most[2] = armEndM;
  const size = least.map((from, axis) => Math.ceil((most[axis] - from + 2 * BAND_M) / stepM) + 1);
  const origin = least.map((from) => from - BAND_M);
  const grid = {
    size: size as [number, number, number],
    step: stepM,
    origin: origin as [number, number, number],
  };
  const palmField = { ...grid, values: new Float32Array(size[0] * size[1] * size[2]).fill(FAR_M) };
  for (const cone of palm) addCone(palmField, cone, ROUND_PALM_M);
  const values = palmField.values.slice();
  for (const cones of fingers) {
    const fingerField = { ...grid, values: new Float32Array(values.length).fill(FAR_M) };
    for (const cone of cones) addCone(fingerField, cone, ROUND_FINGER_M);
    for (let at = 0; at < values.length; at++) {
      if (fingerField.values[at] >= FAR_M) continue;
      const joined = smoothUnion(palmField.values[at], fingerField.values[at], ROUND_WEB_M);
      if (joined < values[at]) values[at] = joined;
    }
  }
  // The arm ends in a plane with a rounded edge.
  const layer = size[0] * size[1];
  for (let z = 0; z < size[2]; z++) {
    const beyond = origin[2] + z * stepM - armEndM;
    for (let at = z * layer; at < (z + 1) * layer; at++) {
      values[at] = -smoothUnion(-values[at], -beyond, ROUND_WEB_M);
    }
  }
  return { ...grid, values };
}

/** Joins a round cone to the field, where it is near. */
function addCone({ size, step, origin, values }: Field, cone: RoundCone, round: number): void {
  const reach = BAND_M + round;
  const ends = (axis: number): [number, number] => {
    const [a, b, ra, rb] = [cone[axis], cone[axis + 4], cone[3], cone[7]];
    const from = Math.floor((Math.min(a - ra, b - rb) - reach - origin[axis]) / step);
    const to = Math.ceil((Math.max(a + ra, b + rb) + reach - origin[axis]) / step);
    return [Math.max(0, from), Math.min(size[axis] - 1, to)];
  };
  const [[x0, x1], [y0, y1], [z0, z1]] = [ends(0), ends(1), ends(2)];
  for (let z = z0; z <= z1; z++) {
    for (let y = y0; y <= y1; y++) {
      for (let x = x0; x <= x1; x++) {
        const at = x + size[0] * (y + size[1] * z);
        const distance = distanceToRoundCone(
          cone,
          origin[0] + x * step,
          origin[1] + y * step,
          origin[2] + z * step,
        );
        values[at] = smoothUnion(values[at], distance, round);
      }
    }
  }
}

/** Moves a point onto the surface, and gives it the normal there. */
function settle(field: Field, positions: Float32Array, normals: Float32Array, at: number): void {
  for (let round = 0; round < 2; round++) {
    const [x, y, z] = [positions[at], positions[at + 1], positions[at + 2]];
    const e = field.step;
    let gx = sampleField(field, x + e, y, z) - sampleField(field, x - e, y, z);
    let gy = sampleField(field, x, y + e, z) - sampleField(field, x, y - e, z);
    let gz = sampleField(field, x, y, z + e) - sampleField(field, x, y, z - e);
    const length = Math.hypot(gx, gy, gz) || 1;
    gx /= length;
    gy /= length;
    gz /= length;
    normals[at] = gx;
    normals[at + 1] = gy;
    normals[at + 2] = gz;
    if (round === 1) return;
    const value = Math.max(-e, Math.min(e, sampleField(field, x, y, z)));
    positions[at] = x - gx * value;
    positions[at + 1] = y - gy * value;
    positions[at + 2] = z - gz * value;
  }
}

/** The last bone of a finger, from its joint to its tip. */
function tipConeOf(poses: ArrayLike<number>, finger: number): RoundCone {
  const tip = (FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1) * POSE_STRIDE;
  const joint = tip - POSE_STRIDE;
  const end = (at: number) => [poses[at], poses[at + 1], poses[at + 2], poses[at + 7]];
  return [...end(joint), ...end(tip)] as unknown as RoundCone;
}

/** The field between its grid's points is flatter than a fingertip: there, points go to where the ball is. */
function roundOff(tip: RoundCone, positions: Float32Array, at: number): void {
  const from = [positions[at] - tip[4], positions[at + 1] - tip[5], positions[at + 2] - tip[6]];
  const away = Math.hypot(from[0], from[1], from[2]);
  const radius = tip[7];
  if (away > 1.3 * radius) return;
  const bone = [tip[4] - tip[0], tip[5] - tip[1], tip[6] - tip[2]];
  const along = (from[0] * bone[0] + from[1] * bone[1] + from[2] * bone[2]) / Math.hypot(...bone) / radius;
  // All of it before the tip joint, less and less behind it.
  const part = Math.min(1, Math.max(0, 1 + 2 * along));
  const [x, y, z] = [positions[at], positions[at + 1], positions[at + 2]];
  const by = (part * distanceToRoundCone(tip, x, y, z)) / away;
  for (let axis = 0; axis < 3; axis++) positions[at + axis] -= by * from[axis];
}

/** Who carries a point: the bones that are near, of its own finger and of the palm. */
function carriersOf(poses: ArrayLike<number>) {
  const bones: { joint: number; finger: number; cone: RoundCone }[] = [];
  for (let child = 0; child < JOINT_COUNT; child++) {
    const joint = JOINT_PARENT[child];
    if (joint < 0 || child === PALM) continue;
    const [a, b] = [joint * POSE_STRIDE, child * POSE_STRIDE];
    const ends = [poses[a], poses[a + 1], poses[a + 2], 0, poses[b], poses[b + 1], poses[b + 2], 0];
    // Metacarpals and wrist carry the palm, whichever finger they lead to.
    const finger = joint === WRIST || FINGER_BASE.some((base) => base === joint) ? -1 : JOINT_FINGER[joint];
    bones.push({ joint, finger, cone: ends as unknown as RoundCone });
  }
  bones.push({ joint: WRIST, finger: -1, cone: [0, 0, 0, 0, 0, 0, 1, 0] });
  const distances = new Float64Array(bones.length);
  const shares = new Float64Array(JOINT_COUNT);

  return (
    positions: Float32Array,
    n: number,
    joints: Uint8Array,
    weights: Float32Array,
    parts: Uint8Array,
  ) => {
    const at = n * 3;
    let nearest = Number.POSITIVE_INFINITY;
    let own: number = -1;
    let fingerNearest = Number.POSITIVE_INFINITY;
    let part: number = FINGERS.length;
    for (let i = 0; i < bones.length; i++) {
      const { cone, finger } = bones[i];
      distances[i] = distanceToRoundCone(cone, positions[at], positions[at + 1], positions[at + 2]);
      if (distances[i] < nearest) {
        nearest = distances[i];
        part = finger < 0 ? FINGERS.length : finger;
      }
      if (finger >= 0 && distances[i] < fingerNearest) {
        fingerNearest = distances[i];
        own = finger;
      }
    }
    shares.fill(0);
    for (let i = 0; i < bones.length; i++) {
      const { joint, finger } = bones[i];
      // Of two fingers beside each other, each carries its own side; in the web between them, both carry.
      const strange = finger >= 0 && finger !== own ? STRANGE * (distances[i] - fingerNearest) : 0;
      const share = Math.exp((nearest - distances[i] - strange) / SHARE_M);
      if (share > shares[joint]) shares[joint] = share;
    }
    let sum = 0;
    for (let slot = 0; slot < 4; slot++) {
      let best = 0;
      for (let joint = 1; joint < JOINT_COUNT; joint++) if (shares[joint] > shares[best]) best = joint;
      joints[n * 4 + slot] = shares[best] > 0 ? best : WRIST;
      weights[n * 4 + slot] = shares[best];
      sum += shares[best];
      shares[best] = 0;
    }
    for (let slot = 0; slot < 4; slot++) weights[n * 4 + slot] /= sum;
    parts[n] = part;
  };
}
