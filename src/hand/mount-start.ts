import { factorise, solveLower, solveUpper } from './cholesky.js';
import type { HandSide } from './joints.js';
import { cross, type MountSample, type RigidPose } from './mount-model.js';
import { conjugate, multiply, type Quaternion, rotate, rotationVector, type Vector } from './rotation.js';
import { eigenOf } from './symmetric.js';

/**
 * Values to start from, in closed form.
 *
 * A point that is fixed in the tracker's frame and in the world's lies where R q + t = c: linear in both (the pivot
 * calibration of surgical pointers; common practice). A set of points seen from two frames gives the pose between
 * them by the greatest eigenvector of a 4 x 4 matrix (Horn, J. Opt. Soc. Am. A 4, 1987).
 */

export interface Pivot {
  /** Fixed points in the frame of the tracker, one for each group, m. */
  readonly held: readonly Vector[];
  /** The fixed point of the world, m. */
  readonly point: Vector;
}

/**
 * The point about which a tracker turned, for groups of poses that share it.
 * @returns undefined: the tracker hardly turned
 */
export function pivotOf(groups: readonly (readonly RigidPose[])[]): Pivot | undefined {
  const n = 3 * groups.length + 3;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const row = new Float64Array(n);
  for (const [g, poses] of groups.entries()) {
    for (const pose of poses) {
      const columns = AXES.map((axis) => rotate([pose[3], pose[4], pose[5], pose[6]], axis));
      for (let k = 0; k < 3; k++) {
        // (R q)_k - c_k = -t_k
        row.fill(0);
        for (let j = 0; j < 3; j++) row[3 * g + j] = columns[j][k];
        row[n - 3 + k] = -1;
        for (let i = 0; i < n; i++) {
          right[i] -= row[i] * pose[k];
          for (let j = 0; j <= i; j++) normal[i * n + j] += row[i] * row[j];
        }
      }
    }
  }
  for (let i = 0; i < n; i++) normal[i * n + i] += 1e-9;
  if (!factorise(normal, n)) return undefined;
  solveLower(normal, n, right);
  solveUpper(normal, n, right);
  const at = (i: number): Vector => [right[i], right[i + 1], right[i + 2]];
  return { held: groups.map((_, g) => at(3 * g)), point: at(n - 3) };
}

const AXES: readonly Vector[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

/**
 * The pose that carries points of one frame onto those of another with least squares (Horn 1987).
 * @returns [x, y, z, qx, qy, qz, qw]
 */
export function poseBetween(from: readonly Vector[], to: readonly Vector[]): Float64Array {
  const a = meanOf(from);
  const b = meanOf(to);
  const s = new Float64Array(9);
  for (let n = 0; n < from.length; n++) {
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) s[3 * i + j] += (from[n][i] - a[i]) * (to[n][j] - b[j]);
  }
  const [xx, xy, xz, yx, yy, yz, zx, zy, zz] = s;
  const symmetric = [
    [xx + yy + zz, yz - zy, zx - xz, xy - yx],
    [yz - zy, xx - yy - zz, xy + yx, zx + xz],
    [zx - xz, xy + yx, yy - xx - zz, yz + zy],
    [xy - yx, zx + xz, yz + zy, zz - xx - yy],
  ];
  const [w, x, y, z] = eigenOf(symmetric.flat(), 4).vectors[3];
  const turn: Quaternion = [x, y, z, w];
  const moved = rotate(turn, a);
  return Float64Array.of(b[0] - moved[0], b[1] - moved[1], b[2] - moved[2], ...turn);
}

function meanOf(points: readonly Vector[]): Vector {
  const mean: Vector = [0, 0, 0];
  for (const point of points) for (let k = 0; k < 3; k++) mean[k] += point[k] / points.length;
  return mean;
}

/** Rotation vectors of poses against their middle one, in the frame of the tracker, radians. */
export function turnsOf(poses: readonly RigidPose[]): Vector[] {
  const middle = poses[poses.length >> 1];
  const back = conjugate([middle[3], middle[4], middle[5], middle[6]]);
  return poses.map((pose) => rotationVector(multiply(back, [pose[3], pose[4], pose[5], pose[6]])));
}

/** How far poses are from turning about one point, and where that is in the frame of the tracker. */
export function pivotMiss(poses: readonly RigidPose[]): { held: Vector; rmsM: number } | undefined {
  const pivot = pivotOf([poses]);
  if (!pivot) return undefined;
  const [held] = pivot.held;
  let square = 0;
  for (const pose of poses) {
    const at = rotate([pose[3], pose[4], pose[5], pose[6]], held);
    for (let k = 0; k < 3; k++) square += (at[k] + pose[k] - pivot.point[k]) ** 2;
  }
  return { held, rmsM: Math.sqrt(square / poses.length) };
}

/** How far the tracker turned about its three main axes: standard deviations, radians, smallest first. */
export function turnSpread(poses: readonly RigidPose[]): number[] {
  if (poses.length < 2) return [0, 0, 0];
  return mainAxes(turnsOf(poses)).values.map((value) => Math.sqrt(Math.max(0, value)));
}

function mainAxes(turns: readonly Vector[]) {
  const mean = meanOf(turns);
  const spread = new Float64Array(9);
  for (const turn of turns) {
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++)
        spread[3 * i + j] += ((turn[i] - mean[i]) * (turn[j] - mean[j])) / turns.length;
  }
  return eigenOf(spread, 3);
}

/** What nod and wave give. */
export interface MotionMount {
  readonly mount: Float64Array;
  /** About the main axis of each, one standard deviation, radians. */
  readonly nodRad: number;
  readonly waveRad: number;
  /** Between the axes of nodding and waving, radians; a quarter turn for a wrist. */
  readonly betweenRad: number;
  /** Of the tracker's poses from turning about one point, rms, m. */
  readonly rmsM: number;
}

/**
 * The mount from the wrist's own motion, the forearm held still: the hand nods, first towards the palm, then waves,
 * first towards the thumb. Its axes are those of the wrist's frame, X and Y; what it turns about is the wrist.
 * @returns undefined: one of the two is not there
 */
export function mountFromMotion(
  side: HandSide,
  nod: readonly RigidPose[],
  wave: readonly RigidPose[],
): MotionMount | undefined {
  if (nod.length < 8 || wave.length < 8) return undefined;
  // A nod towards the palm is a turn by minus the angle about +X; towards a right thumb (-X), one about +Y.
  const nodding = hingeOf(nod, -1);
  const waving = hingeOf(wave, side === 'right' ? 1 : -1);
  const pivot = pivotMiss([...nod, ...wave]);
  if (!pivot || nodding.spread < 1e-3 || waving.spread < 1e-3) return undefined;
  const x = nodding.axis;
  const along = dot(x, waving.axis);
  const y = normal([0, 1, 2].map((k) => waving.axis[k] - along * x[k]) as Vector);
  // Both axes are off alike: what is missing to a quarter turn is shared between them.
  const half = Math.asin(Math.max(-1, Math.min(1, along))) / 2;
  const shared = (a: Vector, b: Vector): Vector =>
    normal([0, 1, 2].map((k) => Math.cos(half) * a[k] - Math.sin(half) * b[k]) as Vector);
  const xShared = shared(x, y);
  const yShared = normal([0, 1, 2].map((k) => Math.cos(half) * y[k] + Math.sin(half) * x[k]) as Vector);
  const z = cross(xShared, yShared);
  const turn = poseBetween(
    [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
      [0, 0, 0],
    ],
    [xShared, yShared, z, [0, 0, 0]],
  );
  return {
    mount: Float64Array.of(...pivot.held, ...turn.subarray(3, 7)),
    nodRad: nodding.spread,
    waveRad: waving.spread,
    betweenRad: Math.acos(Math.max(-1, Math.min(1, along))),
    rmsM: pivot.rmsM,
  };
}

/** The axis about which poses turned, in the tracker's frame. @param first sense of the first large turn */
function hingeOf(poses: readonly RigidPose[], first: 1 | -1): { axis: Vector; spread: number } {
  const back = conjugate([poses[0][3], poses[0][4], poses[0][5], poses[0][6]]);
  const { values, vectors } = mainAxes(turnsOf(poses));
  const axis = vectors[2] as Vector;
  const spread = Math.sqrt(Math.max(0, values[2]));
  // Half of the usual swing: what comes before is a hand that settles.
  let sense = 1;
  for (const pose of poses) {
    const turned = dot(axis, rotationVector(multiply(back, [pose[3], pose[4], pose[5], pose[6]])));
    if (Math.abs(turned) < spread) continue;
    sense = Math.sign(turned);
    break;
  }
  return { axis: axis.map((value) => value * sense * first) as Vector, spread };
}

const dot = (a: ArrayLike<number>, b: ArrayLike<number>): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const normal = (v: Vector): Vector => {
  const length = Math.hypot(...v);
  return [v[0] / length, v[1] / length, v[2] / length];
};

/** Fixed poses of each finger, to start from: where the tracker turned about, against where the glove has the tips. */
export function mountFromTouches(
  samples: readonly MountSample[],
  touchOf: (sample: MountSample) => Vector,
): { mount: Float64Array; point: Vector } | undefined {
  const fingers = [...new Set(samples.map(({ finger }) => finger))];
  const groups = fingers.map((finger) => samples.filter((sample) => sample.finger === finger));
  const pivot = pivotOf(groups.map((group) => group.map(({ tracker }) => tracker)));
  if (!pivot || fingers.length < 3) return undefined;
  const touches = groups.map((group) => meanOf(group.map(touchOf)));
  return { mount: poseBetween(touches, pivot.held), point: pivot.point };
}
