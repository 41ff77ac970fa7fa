import { DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import { HALF_COSINES, HALF_SINES, halfAngles } from './half-angle.js';
import { FINGER_BASE, FINGERS, JOINT_COUNT, PALM, POSE_STRIDE, VELOCITY_STRIDE, WRIST } from './joints.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

// The engine knows a constant of this module; an imported one it reads at every use, which was a tenth of the time of
// poses and velocities.
const POSE = POSE_STRIDE;
const VELOCITY = VELOCITY_STRIDE;
const DOFS = DOFS_PER_FINGER;
const SINES = HALF_SINES;
const COSINES = HALF_COSINES;
const STARTS = CHAIN_START;

/** JOINT_COUNT x (x, y, z, qx, qy, qz, qw, radius): metres and unit quaternions. */
export type PoseArray = Float64Array;
/** JOINT_COUNT x (vx, vy, vz, wx, wy, wz): m/s and rad/s. */
export type VelocityArray = Float64Array;

export const createPoses = (): PoseArray => new Float64Array(JOINT_COUNT * POSE);
export const createVelocities = (): VelocityArray => new Float64Array(JOINT_COUNT * VELOCITY);

const FINGER_COUNT = FINGERS.length;
const RING = 3;
const LITTLE = 4;

/** Joints that do not move within the hand, unless the palm arches. */
const STATIC_JOINTS = [PALM, WRIST, 6, 11, 16, 21] as const;

/**
 * Poses of all 26 joints.
 *
 * After abduction a finger is a planar chain, so each joint's orientation is the chain's frame turned about its
 * X axis by the flexion summed so far: one half-angle pair a joint, and no product of quaternions down the chain.
 *
 * @param dofs radians, in DOF_NAMES order
 * @param poses written in full
 * @param root pose of the wrist [x, y, z, qx, qy, qz, qw], unit quaternion; without it the wrist is the origin
 */
export function forwardKinematics(
  skeleton: Skeleton,
  dofs: DofArray,
  poses: PoseArray,
  root?: ArrayLike<number>,
): void {
  halfAngles(dofs);
  poses.set(skeleton.restPoses);
  if (dofs[RING_ARCH] !== 0) archPalm(skeleton, poses, RING, RING_ARCH);
  if (dofs[LITTLE_ARCH] !== 0) archPalm(skeleton, poses, LITTLE, LITTLE_ARCH);
  if (root) {
    for (let i = 0; i < STATIC_JOINTS.length; i++) moveToRoot(poses, STATIC_JOINTS[i], root);
    for (let finger = 0; finger < FINGER_COUNT; finger++) moveToRoot(poses, STARTS[finger], root);
  }

  for (let finger = 0; finger < FINGER_COUNT; finger++) poseChain(skeleton, poses, finger);
}

/**
 * Poses of the thumb's joints alone, the wrist at the origin, for what moves a thumb many times about a hand at rest.
 * @param poses as forwardKinematics gave them without a root; only the thumb's are written
 */
export function thumbKinematics(skeleton: Skeleton, dofs: DofArray, poses: PoseArray): void {
  halfAngles(dofs, DOFS);
  const from = STARTS[0] * POSE;
  for (let i = from; i < from + POSE; i++) poses[i] = skeleton.restPoses[i];
  poseChain(skeleton, poses, 0);
}

/** The moving joints of a finger, whose first one `poses` has at rest, from the half angles. */
function poseChain({ chainLengths, abductionSign }: Skeleton, poses: PoseArray, finger: number): void {
  const dof = finger * DOFS;
  let at = STARTS[finger] * POSE;
  let px = poses[at];
  let py = poses[at + 1];
  let pz = poses[at + 2];
  const bx = poses[at + 3];
  const by = poses[at + 4];
  const bz = poses[at + 5];
  const bw = poses[at + 6];

  // The chain's frame after abduction, a turn about its Y.
  const sa = abductionSign[finger] * SINES[dof + 1];
  const ca = COSINES[dof + 1];
  const ax = bx * ca - bz * sa;
  const ay = by * ca + bw * sa;
  const az = bz * ca + bx * sa;
  const aw = bw * ca - by * sa;
  // Its dorsal axis (+Y) and the axis against the finger (+Z).
  const dorsalX = 2 * (ax * ay - az * aw);
  const dorsalY = 1 - 2 * (ax * ax + az * az);
  const dorsalZ = 2 * (ay * az + ax * aw);
  const backX = 2 * (ax * az + ay * aw);
  const backY = 2 * (ay * az - ax * aw);
  const backZ = 1 - 2 * (ax * ax + ay * ay);

  // Half of the flexion summed so far.
  let s = 0;
  let c = 1;
  for (let i = 0; i < 3; i++) {
    const joint = i === 0 ? dof : dof + 1 + i;
    const sh = SINES[joint];
    const ch = COSINES[joint];
    const sum = s * ch + c * sh;
    c = c * ch - s * sh;
    s = sum;
    // Flexion turns by minus the angle about X.
    const qx = ax * c - aw * s;
    const qy = ay * c - az * s;
    const qz = az * c + ay * s;
    const qw = aw * c + ax * s;
    poses[at + 3] = qx;
    poses[at + 4] = qy;
    poses[at + 5] = qz;
    poses[at + 6] = qw;
    const length = chainLengths[finger * 3 + i];
    const along = length * (1 - 2 * s * s);
    const down = length * 2 * s * c;
    px -= along * backX + down * dorsalX;
    py -= along * backY + down * dorsalY;
    pz -= along * backZ + down * dorsalZ;
    at += POSE;
    poses[at] = px;
    poses[at + 1] = py;
    poses[at + 2] = pz;
    if (i === 2) {
      // The tip is turned as its distal phalanx is.
      poses[at + 3] = qx;
      poses[at + 4] = qy;
      poses[at + 5] = qz;
      poses[at + 6] = qw;
    }
  }
}

/**
 * Velocities of all 26 joints in the frame of the poses, the wrist taken as still.
 *
 * @param dofRates rad/s, in DOF_NAMES order
 * @param poses what forwardKinematics gave for the same moment
 * @param velocities written in full
 */
export function jointVelocities(
  skeleton: Skeleton,
  dofRates: DofArray,
  poses: PoseArray,
  velocities: VelocityArray,
): void {
  const { restRotations, abductionSign } = skeleton;
  for (let i = 0; i < STARTS[0] * VELOCITY; i++) velocities[i] = 0;

  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    const start = STARTS[finger];
    const dof = finger * DOFS;
    let at = start * POSE;
    let out = start * VELOCITY;
    // The joint that carries the chain: the wrist for the thumb, else the finger's metacarpal.
    const carrier = finger === 0 ? WRIST * POSE : at - POSE;
    const cx = poses[carrier + 3];
    const cy = poses[carrier + 4];
    const cz = poses[carrier + 5];
    const cw = poses[carrier + 6];

    let vx = 0;
    let vy = 0;
    let vz = 0;
    let wx = 0;
    let wy = 0;
    let wz = 0;
    if (finger !== 0) {
      const base = out - VELOCITY;
      const archRate = finger === RING ? dofRates[RING_ARCH] : finger === LITTLE ? dofRates[LITTLE_ARCH] : 0;
      if (archRate !== 0) {
        wx = -archRate * (1 - 2 * (cy * cy + cz * cz));
        wy = -archRate * 2 * (cx * cy + cz * cw);
        wz = -archRate * 2 * (cx * cz - cy * cw);
        const rx = poses[at] - poses[carrier];
        const ry = poses[at + 1] - poses[carrier + 1];
        const rz = poses[at + 2] - poses[carrier + 2];
        vx = wy * rz - wz * ry;
        vy = wz * rx - wx * rz;
        vz = wx * ry - wy * rx;
      }
      velocities[base] = 0;
      velocities[base + 1] = 0;
      velocities[base + 2] = 0;
      velocities[base + 3] = wx;
      velocities[base + 4] = wy;
      velocities[base + 5] = wz;
    }

    // Abduction turns about the +Y of the chain's frame at rest, carried along by the metacarpal.
    const abductionRate = abductionSign[finger] * dofRates[dof + 1];
    if (abductionRate !== 0) {
      const r = start * 4;
      const rx = restRotations[r];
      const ry = restRotations[r + 1];
      const rz = restRotations[r + 2];
      const rw = restRotations[r + 3];
      const x = cw * rx + cx * rw + cy * rz - cz * ry;
      const y = cw * ry + cy * rw + cz * rx - cx * rz;
      const z = cw * rz + cz * rw + cx * ry - cy * rx;
      const w = cw * rw - cx * rx - cy * ry - cz * rz;
      wx += abductionRate * 2 * (x * y - z * w);
      wy += abductionRate * (1 - 2 * (x * x + z * z));
      wz += abductionRate * 2 * (y * z + x * w);
    }

    // All flexion axes of a finger are one: the X axis of any of its joints.
    const qx = poses[at + 3];
    const qy = poses[at + 4];
    const qz = poses[at + 5];
    const qw = poses[at + 6];
    const flexX = 1 - 2 * (qy * qy + qz * qz);
    const flexY = 2 * (qx * qy + qz * qw);
    const flexZ = 2 * (qx * qz - qy * qw);

    for (let i = 0; i < 4; i++) {
      if (i < 3) {
        const rate = dofRates[i === 0 ? dof : dof + 1 + i];
        wx -= rate * flexX;
        wy -= rate * flexY;
        wz -= rate * flexZ;
      }
      velocities[out] = vx;
      velocities[out + 1] = vy;
      velocities[out + 2] = vz;
      velocities[out + 3] = wx;
      velocities[out + 4] = wy;
      velocities[out + 5] = wz;
      if (i === 3) break;
      const next = at + POSE;
      const rx = poses[next] - poses[at];
      const ry = poses[next + 1] - poses[at + 1];
      const rz = poses[next + 2] - poses[at + 2];
      vx += wy * rz - wz * ry;
      vy += wz * rx - wx * rz;
      vz += wx * ry - wy * rx;
      at = next;
      out += VELOCITY;
    }
  }
}

/** Flexes a metacarpal at its CMC joint and carries the knuckle along. */
function archPalm(skeleton: Skeleton, poses: PoseArray, finger: number, dof: number): void {
  const base = FINGER_BASE[finger] * POSE;
  const s = SINES[dof];
  const c = COSINES[dof];
  const bx = poses[base + 3];
  const by = poses[base + 4];
  const bz = poses[base + 5];
  const bw = poses[base + 6];
  const x = bx * c - bw * s;
  const y = by * c - bz * s;
  const z = bz * c + by * s;
  const w = bw * c + bx * s;
  poses[base + 3] = x;
  poses[base + 4] = y;
  poses[base + 5] = z;
  poses[base + 6] = w;

  const knuckle = base + POSE;
  const joint = STARTS[finger];
  const along = skeleton.restOffsets[joint * 3 + 2];
  poses[knuckle] = poses[base] + along * 2 * (x * z + y * w);
  poses[knuckle + 1] = poses[base + 1] + along * 2 * (y * z - x * w);
  poses[knuckle + 2] = poses[base + 2] + along * (1 - 2 * (x * x + y * y));
  const { restRotations } = skeleton;
  const rx = restRotations[joint * 4];
  const ry = restRotations[joint * 4 + 1];
  const rz = restRotations[joint * 4 + 2];
  const rw = restRotations[joint * 4 + 3];
  poses[knuckle + 3] = w * rx + x * rw + y * rz - z * ry;
  poses[knuckle + 4] = w * ry + y * rw + z * rx - x * rz;
  poses[knuckle + 5] = w * rz + z * rw + x * ry - y * rx;
  poses[knuckle + 6] = w * rw - x * rx - y * ry - z * rz;
}

/** Carries one joint from the wrist's frame to the root's. */
function moveToRoot(poses: PoseArray, joint: number, root: ArrayLike<number>): void {
  const at = joint * POSE;
  const rx = root[3];
  const ry = root[4];
  const rz = root[5];
  const rw = root[6];
  const x = poses[at];
  const y = poses[at + 1];
  const z = poses[at + 2];
  // v + 2w(r x v) + 2(r x (r x v))
  const tx = 2 * (ry * z - rz * y);
  const ty = 2 * (rz * x - rx * z);
  const tz = 2 * (rx * y - ry * x);
  poses[at] = root[0] + x + rw * tx + ry * tz - rz * ty;
  poses[at + 1] = root[1] + y + rw * ty + rz * tx - rx * tz;
  poses[at + 2] = root[2] + z + rw * tz + rx * ty - ry * tx;
  const qx = poses[at + 3];
  const qy = poses[at + 4];
  const qz = poses[at + 5];
  const qw = poses[at + 6];
  poses[at + 3] = rw * qx + rx * qw + ry * qz - rz * qy;
  poses[at + 4] = rw * qy + ry * qw + rz * qx - rx * qz;
  poses[at + 5] = rw * qz + rz * qw + rx * qy - ry * qx;
  poses[at + 6] = rw * qw - rx * qx - ry * qy - rz * qz;
}
