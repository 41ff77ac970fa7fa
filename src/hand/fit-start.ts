import { factorise, solveLower, solveUpper } from './cholesky.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import { createPoses, forwardKinematics } from './forward.js';
import { distanceBetween, type PointArray } from './joint-positions.js';
import { FINGERS, POSE_STRIDE, WRIST } from './joints.js';
import { DOF_MAX } from './limits.js';
import { BREADTH_PER_LENGTH, BUCHHOLZ_FRACTIONS, RADIUS_PER_BREADTH } from './proportions.js';
import { conjugate, multiply, type Quaternion, rotate, turnBy, type Vector } from './rotation.js';
import { CHAIN_START, createSkeleton, type Skeleton } from './skeleton.js';

/** The default hand that lies nearest to a right hand's palm, and where that hand is. */
export interface PalmFit {
  readonly lengthM: number;
  readonly breadthM: number;
  /** Pose of the wrist: x, y, z, qx, qy, qz, qw. */
  readonly root: Float64Array;
  readonly ringArch: number;
  readonly littleArch: number;
}

/** Joints that do not move with the fingers: wrist, CMC joints, MCP joints of index to little. */
const PALM_JOINTS = [1, 2, 6, 7, 11, 12, 16, 17, 21, 22] as const;
const KNUCKLES = [7, 12, 17, 22] as const;
/** Length, breadth, place (3), turn (3), arch of ring and little. */
const UNKNOWNS = 10;
const STEP = 1e-6;
/** Pulls on the arch where nothing else decides, metres a radian: far below any measurement. */
const ARCH_PULL_M = 1e-5;

/**
 * Finds size and place of the default hand (Gauss-Newton on ten unknowns), started from distances and from the
 * directions wrist to middle knuckle and index to little knuckle.
 */
export function fitPalm(points: PointArray): PalmFit {
  const values = startValues(points);
  let root = startRoot(points, values[0], values[1]);
  const poses = createPoses();
  const residuals = new Float64Array(PALM_JOINTS.length * 3 + 2);
  const shifted = new Float64Array(residuals.length);
  const jacobian = new Float64Array(residuals.length * UNKNOWNS);
  const normal = new Float64Array(UNKNOWNS * UNKNOWNS);
  const step = new Float64Array(UNKNOWNS);
  const dofs = new Float64Array(DOF_COUNT);

  const evaluate = (at: Float64Array, from: Float64Array, out: Float64Array) => {
    dofs[RING_ARCH] = at[8];
    dofs[LITTLE_ARCH] = at[9];
    const skeleton = createSkeleton({ side: 'right', lengthM: at[0], breadthM: at[1] });
    forwardKinematics(skeleton, dofs, poses, moved(from, at));
    for (const [i, joint] of PALM_JOINTS.entries()) {
      for (let k = 0; k < 3; k++) out[i * 3 + k] = poses[joint * POSE_STRIDE + k] - points[joint * 3 + k];
    }
    out[PALM_JOINTS.length * 3] = ARCH_PULL_M * at[8];
    out[PALM_JOINTS.length * 3 + 1] = ARCH_PULL_M * at[9];
  };

  for (let iteration = 0; iteration < 12; iteration++) {
    evaluate(values, root, residuals);
    for (let j = 0; j < UNKNOWNS; j++) {
      const value = values[j];
      values[j] = value + STEP;
      evaluate(values, root, shifted);
      values[j] = value;
      for (let i = 0; i < residuals.length; i++)
        jacobian[i * UNKNOWNS + j] = (shifted[i] - residuals[i]) / STEP;
    }
    normal.fill(0);
    step.fill(0);
    for (let i = 0; i < residuals.length; i++) {
      for (let j = 0; j < UNKNOWNS; j++) {
        const slope = jacobian[i * UNKNOWNS + j];
        step[j] -= slope * residuals[i];
        for (let k = 0; k <= j; k++) normal[j * UNKNOWNS + k] += slope * jacobian[i * UNKNOWNS + k];
      }
    }
    if (!factorise(normal, UNKNOWNS)) break;
    solveLower(normal, UNKNOWNS, step);
    solveUpper(normal, UNKNOWNS, step);
    for (let j = 0; j < UNKNOWNS; j++) values[j] += step[j];
    values[0] = Math.min(Math.max(values[0], 0.085), 0.28);
    values[1] = Math.min(Math.max(values[1], 0.36 * values[0]), 0.54 * values[0]);
    root = moved(root, values);
    values.fill(0, 2, 8);
    if (Math.hypot(...step) < 1e-10) break;
  }
  return {
    lengthM: values[0],
    breadthM: values[1],
    root,
    ringArch: Math.min(Math.max(values[8], 0), DOF_MAX[RING_ARCH]),
    littleArch: Math.min(Math.max(values[9], 0), DOF_MAX[LITTLE_ARCH]),
  };
}

/** Angles of every finger, taken as a planar chain that starts in the skeleton's own frame. */
export function startAngles(skeleton: Skeleton, palm: PalmFit, points: PointArray): DofArray {
  const dofs = new Float64Array(DOF_COUNT);
  dofs[RING_ARCH] = palm.ringArch;
  dofs[LITTLE_ARCH] = palm.littleArch;
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses, palm.root);
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const start = CHAIN_START[finger];
    // With all its angles at zero the start of the chain is turned as the chain's frame.
    const at = start * POSE_STRIDE;
    const toChain = conjugate(poses.subarray(at + 3, at + 7));
    const bones = [0, 1, 2].map((i) => rotate(toChain, bone(points, start + i)));
    const [x, , z] = bones[0];
    const sign = skeleton.abductionSign[finger];
    const limit = finger === 0 ? 1.3 : 0.4;
    // A finger bent by nearly a right angle points out of the plane in which abduction is measured.
    const inPlane = Math.hypot(x, z) > 0.35 * Math.hypot(...bones[0]) && z < 0;
    const turn = inPlane ? Math.min(Math.max(Math.atan2(-x, -z), -limit), limit) : 0;
    const [s, c] = [Math.sin(turn), Math.cos(turn)];
    const pitch = bones.map(([bx, by, bz]) => Math.atan2(-by, -(bz * c + bx * s)));
    const dof = finger * DOFS_PER_FINGER;
    dofs[dof] = pitch[0];
    dofs[dof + 1] = sign * turn;
    dofs[dof + 2] = wrapped(pitch[1] - pitch[0]);
    dofs[dof + 3] = wrapped(pitch[2] - pitch[1]);
  }
  return dofs;
}

/** Hand length and breadth from the distances that the default hand's proportions give. */
function startValues(points: PointArray): Float64Array {
  const [toKnuckle, proximal, middle, distal] = BUCHHOLZ_FRACTIONS.middle;
  const tip = RADIUS_PER_BREADTH.middle[4] * BREADTH_PER_LENGTH;
  let chain = distanceBetween(points, WRIST, KNUCKLES[1]);
  for (let joint: number = KNUCKLES[1]; joint < KNUCKLES[1] + 3; joint++)
    chain += distanceBetween(points, joint, joint + 1);
  const lengthM = Math.min(Math.max(chain / (toKnuckle + proximal + middle + distal - tip), 0.085), 0.28);
  const values = new Float64Array(UNKNOWNS);
  values[0] = lengthM;
  values[1] = lengthM * BREADTH_PER_LENGTH;
  return values;
}

function startRoot(points: PointArray, lengthM: number, breadthM: number): Float64Array {
  const { restPoses } = createSkeleton({ side: 'right', lengthM, breadthM });
  const rest = new Float64Array(points.length);
  for (let joint = 0; joint < rest.length / 3; joint++)
    for (let k = 0; k < 3; k++) rest[joint * 3 + k] = restPoses[joint * POSE_STRIDE + k];
  const turn = multiply(palmFrame(points), conjugate(palmFrame(rest)));
  const root = new Float64Array(7);
  root.set(points.subarray(WRIST * 3, WRIST * 3 + 3));
  root.set(turn, 3);
  return root;
}

/** The frame with -Z from wrist to middle knuckle and X, as far as it can, from index to little knuckle. */
function palmFrame(points: PointArray): Quaternion {
  const along = difference(points, WRIST, KNUCKLES[1]);
  const z = scaled(along, -1 / Math.hypot(...along));
  const across = difference(points, KNUCKLES[0], KNUCKLES[3]);
  const lean = across[0] * z[0] + across[1] * z[1] + across[2] * z[2];
  const flat: Vector = [across[0] - lean * z[0], across[1] - lean * z[1], across[2] - lean * z[2]];
  const x = scaled(flat, 1 / Math.hypot(...flat));
  const y = [z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]];
  return fromAxes(x, y, z);
}

/** Quaternion of the rotation matrix with columns x, y, z: the form that divides by its largest part. */
function fromAxes(x: readonly number[], y: readonly number[], z: readonly number[]): Quaternion {
  const squares = [
    1 + x[0] - y[1] - z[2],
    1 - x[0] + y[1] - z[2],
    1 - x[0] - y[1] + z[2],
    1 + x[0] + y[1] + z[2],
  ];
  const rows: readonly Quaternion[] = [
    [squares[0], x[1] + y[0], z[0] + x[2], y[2] - z[1]],
    [x[1] + y[0], squares[1], y[2] + z[1], z[0] - x[2]],
    [z[0] + x[2], y[2] + z[1], squares[2], x[1] - y[0]],
    [y[2] - z[1], z[0] - x[2], x[1] - y[0], squares[3]],
  ];
  const row = rows[squares.indexOf(Math.max(...squares))];
  const length = Math.hypot(...row);
  return [row[0] / length, row[1] / length, row[2] / length, row[3] / length];
}

function moved(root: Float64Array, values: Float64Array): Float64Array {
  const next = Float64Array.from(root);
  for (let k = 0; k < 3; k++) next[k] += values[2 + k];
  next.set(turnBy(root.subarray(3, 7), values.subarray(5, 8)), 3);
  return next;
}

function difference(points: PointArray, from: number, to: number): Vector {
  return [0, 1, 2].map((k) => points[to * 3 + k] - points[from * 3 + k]) as Vector;
}

function bone(points: PointArray, joint: number): Vector {
  return difference(points, joint, joint + 1);
}

function scaled([x, y, z]: Vector, factor: number): Vector {
  return [x * factor, y * factor, z * factor];
}

function wrapped(angle: number): number {
  return Math.atan2(Math.sin(angle), Math.cos(angle));
}
