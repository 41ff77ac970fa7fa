import type { Steps } from '../steps.js';
import { factorise, solveLower, solveUpper } from './cholesky.js';
import { DOF_COUNT, DOFS_PER_FINGER, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import {
  FRAME_SIZE,
  fillJacobian,
  fillResiduals,
  type HandState,
  SHARED_SIZE,
  shiftState,
} from './fit-model.js';
import type { PointArray } from './joint-positions.js';
import { FINGERS, JOINT_COUNT } from './joints.js';

/** How far hands differ from the default one: where nothing else decides, they are taken to differ little. */
const PLACE_SPREAD_M = 0.008;
const ROLL_SPREAD_RAD = 0.14;
const THUMB_TURN_SPREAD_RAD = 0.26;
const ABDUCTION_SPREAD_RAD = 1;
const ARCH_SPREAD_RAD = 0.09;

/** Noise taken for granted where the fit is better, metres: keeps the normal matrix well conditioned. */
const LEAST_NOISE_M = 4e-6;
/** Far below the weakest pull, so that what only the pulls decide is not held back. */
const LEAST_DAMPING = 1e-11;
const ROUNDS = 6;
const ROUND_ITERATIONS = 10;

const ROWS = JOINT_COUNT * 3;
const FIRST_FRAME_DOF = 6;

/**
 * Least squares over bone lengths, placement and every frame's pose: Levenberg-Marquardt with the frames
 * eliminated first (Schur complement), so the cost grows evenly with their number.
 *
 * What the positions do not decide (the lean of a finger that is never bent, the wrist's own direction) follows
 * the default hand: its pull is weighed against the noise, which is estimated from the residual, round by round,
 * so with exact positions it fades.
 */
export function* solveHand(start: HandState, frames: readonly PointArray[]): Steps<HandState> {
  const system = createSystem(frames.length);
  let state = start;
  let noiseM = 1e-3;
  for (let round = 0; round < ROUNDS; round++) {
    const pulls = pullsOf(noiseM);
    state = yield* minimise(state, frames, pulls, system);
    const next = Math.max(noiseOf(state, frames, pulls), LEAST_NOISE_M);
    if (Math.abs(next - noiseM) < 0.1 * noiseM) break;
    noiseM = next;
  }
  return state;
}

function* minimise(
  start: HandState,
  frames: readonly PointArray[],
  pulls: Pulls,
  system: System,
): Steps<HandState> {
  let state = start;
  let cost = costOf(state, frames, pulls);
  let damping = LEAST_DAMPING;
  for (let iteration = 0; iteration < ROUND_ITERATIONS; iteration++) {
    yield* linearise(state, frames, pulls, system);
    let improved = false;
    let gain = 0;
    for (let attempt = 0; attempt < 8; attempt++) {
      const step = yield* solveStep(system, damping);
      const tried = step && shiftState(state, step.shared, step.frames);
      const triedCost = tried ? costOf(tried, frames, pulls) : Number.POSITIVE_INFINITY;
      if (tried && triedCost <= cost) {
        gain = cost - triedCost;
        state = tried;
        cost = triedCost;
        damping = Math.max(damping / 100, LEAST_DAMPING);
        improved = true;
        break;
      }
      damping = Math.max(damping * 10, 1e-6);
    }
    if (!improved || gain <= 1e-4 * cost || cost < 1e-16) break;
  }
  return state;
}

/** Strength of the pull towards the default hand, squared, per unknown: metres over its spread. */
interface Pulls {
  readonly shared: Float64Array;
  readonly frame: Float64Array;
}

function pullsOf(noiseM: number): Pulls {
  const shared = new Float64Array(SHARED_SIZE);
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const at = finger * 10;
    shared.fill((noiseM / PLACE_SPREAD_M) ** 2, at, at + 6);
    // The thumb has no knuckle of this kind; its three places only keep the matrix whole.
    if (finger === 0) shared.fill(1, at + 3, at + 6);
    shared[at + 6] = (noiseM / (finger === 0 ? THUMB_TURN_SPREAD_RAD : ROLL_SPREAD_RAD)) ** 2;
  }
  const frame = new Float64Array(FRAME_SIZE);
  for (let finger = 1; finger < FINGERS.length; finger++) {
    frame[FIRST_FRAME_DOF + finger * DOFS_PER_FINGER + 1] = (noiseM / ABDUCTION_SPREAD_RAD) ** 2;
  }
  for (const arch of [RING_ARCH, LITTLE_ARCH])
    frame[FIRST_FRAME_DOF + arch] = (noiseM / ARCH_SPREAD_RAD) ** 2;
  return { shared, frame };
}

function costOf(state: HandState, frames: readonly PointArray[], pulls: Pulls): number {
  let cost = 0;
  for (let i = 0; i < SHARED_SIZE; i++) cost += pulls.shared[i] * (state.shared[i] - state.expected[i]) ** 2;
  const residuals = new Float64Array(ROWS);
  for (const [n, points] of frames.entries()) {
    fillResiduals(state, n, points, residuals);
    for (let i = 0; i < ROWS; i++) cost += residuals[i] ** 2;
    const { dofs, expected } = state.frames[n];
    for (let i = 0; i < DOF_COUNT; i++)
      cost += pulls.frame[FIRST_FRAME_DOF + i] * (dofs[i] - expected[i]) ** 2;
  }
  return cost;
}

/**
 * Noise of one coordinate, by which the cost, pulls included, is what so many measurements should leave: lengths
 * (15), flexions, the thumb's abduction and the wrist (22 a frame) have no pull and use up as many.
 */
function noiseOf(state: HandState, frames: readonly PointArray[], pulls: Pulls): number {
  return Math.sqrt(costOf(state, frames, pulls) / (53 * frames.length - 15));
}

/**
 * Normal equations: shared block, frame blocks, and what couples them (FRAME_SIZE x SHARED_SIZE), lower triangles
 * only; beside them the room in which they are solved.
 */
interface System {
  readonly shared: Float64Array;
  readonly sharedRight: Float64Array;
  readonly sharedFactor: Float64Array;
  readonly jacobian: Float64Array;
  readonly frames: readonly FrameSystem[];
}

interface FrameSystem {
  readonly own: Float64Array;
  readonly coupling: Float64Array;
  readonly right: Float64Array;
  readonly factor: Float64Array;
  readonly coupled: Float64Array;
  readonly reducedRight: Float64Array;
}

function createSystem(frameCount: number): System {
  const S = SHARED_SIZE;
  const F = FRAME_SIZE;
  return {
    shared: new Float64Array(S * S),
    sharedRight: new Float64Array(S),
    sharedFactor: new Float64Array(S * S),
    jacobian: new Float64Array(ROWS * (S + F)),
    frames: Array.from({ length: frameCount }, () => ({
      own: new Float64Array(F * F),
      coupling: new Float64Array(F * S),
      right: new Float64Array(F),
      factor: new Float64Array(F * F),
      coupled: new Float64Array(F * S),
      reducedRight: new Float64Array(F),
    })),
  };
}

function* linearise(
  state: HandState,
  frames: readonly PointArray[],
  pulls: Pulls,
  system: System,
): Steps<void> {
  const S = SHARED_SIZE;
  const F = FRAME_SIZE;
  const { shared, sharedRight, jacobian } = system;
  shared.fill(0);
  for (let i = 0; i < S; i++) {
    shared[i * S + i] = pulls.shared[i];
    sharedRight[i] = -pulls.shared[i] * (state.shared[i] - state.expected[i]);
  }
  const residuals = new Float64Array(ROWS);
  const used = new Int32Array(S + F);
  for (const [n, points] of frames.entries()) {
    yield;
    const { own, coupling, right } = system.frames[n];
    own.fill(0);
    coupling.fill(0);
    right.fill(0);
    const { dofs, expected } = state.frames[n];
    for (let i = 0; i < DOF_COUNT; i++) {
      const at = FIRST_FRAME_DOF + i;
      own[at * F + at] = pulls.frame[at];
      right[at] = -pulls.frame[at] * (dofs[i] - expected[i]);
    }
    fillResiduals(state, n, points, residuals);
    fillJacobian(state, n, jacobian);
    for (let row = 0; row < ROWS; row++) {
      const from = row * (S + F);
      let count = 0;
      for (let i = 0; i < S + F; i++) if (jacobian[from + i] !== 0) used[count++] = i;
      for (let a = 0; a < count; a++) {
        const i = used[a];
        const slope = jacobian[from + i];
        if (i < S) {
          sharedRight[i] -= slope * residuals[row];
          for (let b = 0; b <= a; b++) shared[i * S + used[b]] += slope * jacobian[from + used[b]];
        } else {
          right[i - S] -= slope * residuals[row];
          for (let b = 0; b <= a; b++) {
            const k = used[b];
            if (k < S) coupling[(i - S) * S + k] += slope * jacobian[from + k];
            else own[(i - S) * F + k - S] += slope * jacobian[from + k];
          }
        }
      }
    }
  }
}

interface HandStep {
  readonly shared: Float64Array;
  readonly frames: readonly Float64Array[];
}

/** The step of damped normal equations, or undefined if they are singular. */
function* solveStep(system: System, damping: number): Steps<HandStep | undefined> {
  const S = SHARED_SIZE;
  const F = FRAME_SIZE;
  const { sharedFactor } = system;
  damp(system.shared, S, damping, sharedFactor);
  const step = Float64Array.from(system.sharedRight);
  for (const { own, coupling, right, factor, coupled, reducedRight } of system.frames) {
    yield;
    damp(own, F, damping, factor);
    if (!factorise(factor, F)) return undefined;
    coupled.set(coupling);
    for (let i = 0; i < S; i++) solveLower(factor, F, coupled, i, S);
    reducedRight.set(right);
    solveLower(factor, F, reducedRight);
    for (let k = 0; k < F; k++) {
      for (let i = 0; i < S; i++) {
        const value = coupled[k * S + i];
        if (value === 0) continue;
        step[i] -= value * reducedRight[k];
        for (let j = 0; j <= i; j++) sharedFactor[i * S + j] -= value * coupled[k * S + j];
      }
    }
  }
  if (!factorise(sharedFactor, S)) return undefined;
  solveLower(sharedFactor, S, step);
  solveUpper(sharedFactor, S, step);
  const frames = system.frames.map(({ factor, coupled, reducedRight }) => {
    const own = Float64Array.from(reducedRight);
    for (let k = 0; k < F; k++) for (let i = 0; i < S; i++) own[k] -= coupled[k * S + i] * step[i];
    solveUpper(factor, F, own);
    return own;
  });
  return { shared: step, frames };
}

function damp(matrix: Float64Array, n: number, damping: number, out: Float64Array): void {
  out.set(matrix);
  for (let i = 0; i < n; i++) out[i * n + i] += damping * (matrix[i * n + i] + 1e-12);
}
