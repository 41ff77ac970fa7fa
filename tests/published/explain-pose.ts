import {
  createPoses,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  DOF_NAMES,
  fitHand,
  forwardKinematics,
  JOINT_COUNT,
  JOINT_NAMES,
  type JointPositions,
  PALM,
  POSE_STRIDE,
  type Skeleton,
} from '../../src/hand/index.js';

/**
 * How well a hand of certain bones explains a pose inside the ranges of its joints: angles and wrist by damped least
 * squares with differences, every step cut to the ranges. Written for this test alone, without what fitHand uses.
 */
export function explain(skeleton: Skeleton, positions: JointPositions): { rmsM: number; atLimit: string[] } {
  const joints = JOINT_NAMES.map((_, joint) => joint).filter((joint) => joint !== PALM);
  const target = joints.flatMap((joint) => [...positions[JOINT_NAMES[joint]]!]);
  const start = fitHand(positions);
  const size = DOF_COUNT + 6;
  const least = [...DOF_MIN, ...Array(6).fill(-9)];
  const most = [...DOF_MAX, ...Array(6).fill(9)];
  const cut = (values: number[]) => values.map((v, i) => Math.min(Math.max(v, least[i]), most[i]));
  const poses = createPoses();
  const root = start.root;
  const residuals = (x: number[]): number[] => {
    const turn = [x[DOF_COUNT + 3] / 2, x[DOF_COUNT + 4] / 2, x[DOF_COUNT + 5] / 2];
    const [ax, ay, az] = turn;
    const aw = Math.sqrt(Math.max(0, 1 - ax * ax - ay * ay - az * az));
    const [bx, by, bz, bw] = root.subarray(3);
    const placed = [
      ...[0, 1, 2].map((k) => root[k] + x[DOF_COUNT + k]),
      aw * bx + ax * bw + ay * bz - az * by,
      aw * by - ax * bz + ay * bw + az * bx,
      aw * bz + ax * by - ay * bx + az * bw,
      aw * bw - ax * bx - ay * by - az * bz,
    ];
    forwardKinematics(skeleton, Float64Array.from(x.slice(0, DOF_COUNT)), poses, placed);
    return joints.flatMap((joint, j) =>
      [0, 1, 2].map((k) => poses[joint * POSE_STRIDE + k] - target[j * 3 + k]),
    );
  };
  const squares = (r: readonly number[]) => r.reduce((sum, v) => sum + v * v, 0);
  let x = cut([...start.angles, 0, 0, 0, 0, 0, 0]);
  let now = residuals(x);
  let damping = 1e-3;
  for (let round = 0; round < 200 && damping < 1e6; round++) {
    const columns = x.map((v, i) => {
      const h = v + 1e-6 > most[i] ? -1e-6 : 1e-6;
      const shifted = residuals(x.map((w, n) => (n === i ? w + h : w)));
      return shifted.map((value, n) => (value - now[n]) / h);
    });
    const normal = columns.map((a) => columns.map((b) => a.reduce((sum, v, n) => sum + v * b[n], 0)));
    const gradient = columns.map((a) => -a.reduce((sum, v, n) => sum + v * now[n], 0));
    // What is at its limit and pulled beyond it stays there.
    const free = x.map((v, i) => !((v <= least[i] && gradient[i] < 0) || (v >= most[i] && gradient[i] > 0)));
    const step = solve(
      normal.map((row, i) =>
        row.map((v, k) => (i === k ? v * (1 + damping) + 1e-12 : free[i] && free[k] ? v : 0)),
      ),
      gradient.map((v, i) => (free[i] ? v : 0)),
      size,
    );
    const tried = cut(x.map((v, i) => v + step[i]));
    const then = residuals(tried);
    if (squares(then) < squares(now)) {
      const gain = squares(now) - squares(then);
      x = tried;
      now = then;
      damping = Math.max(damping / 10, 1e-9);
      if (gain < 1e-12) break;
    } else damping *= 10;
  }
  return {
    rmsM: Math.sqrt(squares(now) / (JOINT_COUNT - 1)),
    atLimit: DOF_NAMES.filter((_, i) => x[i] <= least[i] + 1e-9 || x[i] >= most[i] - 1e-9),
  };
}

/** Gauss's elimination with pivots. */
function solve(matrix: number[][], right: number[], size: number): number[] {
  const rows = matrix.map((row, i) => [...row, right[i]]);
  for (let i = 0; i < size; i++) {
    let pivot = i;
    for (let k = i + 1; k < size; k++) if (Math.abs(rows[k][i]) > Math.abs(rows[pivot][i])) pivot = k;
    [rows[i], rows[pivot]] = [rows[pivot], rows[i]];
    for (let k = i + 1; k < size; k++) {
      const share = rows[k][i] / rows[i][i];
      for (let n = i; n <= size; n++) rows[k][n] -= share * rows[i][n];
    }
  }
  const x: number[] = Array(size).fill(0);
  for (let i = size - 1; i >= 0; i--) {
    let sum = rows[i][size];
    for (let k = i + 1; k < size; k++) sum -= rows[i][k] * x[k];
    x[i] = sum / rows[i][i];
  }
  return x;
}
