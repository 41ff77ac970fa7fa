import { atOnce, type Steps } from '../steps.js';
import { factorise, solveLower, solveUpper } from './cholesky.js';
import { DOF_COUNT } from './dofs.js';
import {
  createMountRoom,
  fillMiss,
  MOUNT_PLACE,
  MOUNT_TURN,
  type MountRoom,
  type MountSample,
  type MountState,
  OF_FINGERS,
  OF_HAND,
  PER_FINGER,
  shiftMount,
  UNKNOWNS,
} from './mount-model.js';
import { conjugate, multiply, rotationVector } from './rotation.js';
import type { Skeleton } from './skeleton.js';

/**
 * How far joints, bones and touches are expected to be off, one standard deviation. Where the samples do not decide,
 * they are taken to be off little. Joints: what a fit of the fingers leaves; bones: what a hand length by ruler
 * leaves; touch: between the pad and the end of a fingertip.
 */
export interface MountSpread {
  readonly jointDeg: number;
  readonly bonePart: number;
  /** Where on the fingertip it touches: to either side, out of it (less where it rolls), and between pad and end. */
  readonly asideM: number;
  readonly outM: number;
  readonly alongM: number;
  /** How far from the spot each finger comes down, along each axis. */
  readonly aimM: number;
}
export const USUAL_SPREAD: MountSpread = {
  jointDeg: 4,
  bonePart: 0.035,
  asideM: 0.002,
  outM: 0.0015,
  alongM: 0.004,
  aimM: 0.0015,
};

/** Noise of one sample and axis: never believed to be less, m. */
const LEAST_NOISE_M = 0.0015;
/** From here on a sample counts for less (Huber), in standard deviations of its length. */
const HUBER = 1.8;
/** In the last round, beyond this a fingertip has slipped: the sample is left out. */
const SLIPPED = 4.5;
/** Median length of a vector of three standard normal numbers (chi distribution). */
const CHI3_MEDIAN = 1.5382;
const ROUNDS = 6;
const STEPS_A_ROUND = 8;

/** What is known of the mount beforehand, from nodding and waving. */
export interface MountPrior {
  readonly mount: ArrayLike<number>;
  /** One standard deviation about each axis, radians, and along each, m. */
  readonly turnRad: number;
  readonly placeM: number;
}

/** What the samples say. */
export interface MountSolution {
  readonly state: MountState;
  /** Misses, m, one a sample. */
  readonly missesM: Float64Array;
  /** Weight of each sample, 0..1: 0 is a slip. */
  readonly weights: Float64Array;
  /** Of one axis of one sample, m. */
  readonly noiseM: number;
  /** Inverse of the normal matrix: UNKNOWNS x UNKNOWNS. */
  readonly covariance: Float64Array;
  readonly cost: number;
  /** Mean square of what joints, bones and touches are off, in their spreads: below 1 for a usual hand. */
  readonly oddness: number;
}

/**
 * Least squares over mount, point and all that may be off in the hand: Levenberg-Marquardt, reweighted so that slips
 * of a fingertip count little and at last not at all.
 * @returns undefined: nothing at all is decided by the samples
 */
export function* solveMountSteps(
  start: MountState,
  skeleton: Skeleton,
  samples: readonly MountSample[],
  spread: MountSpread = USUAL_SPREAD,
  prior?: MountPrior,
): Steps<MountSolution | undefined> {
  const system = createSystem(skeleton, samples, spread, prior);
  let state = start;
  let noiseM = 0.006;
  system.weights.fill(1);
  for (let round = 0; round < ROUNDS; round++) {
    const minimum = yield* minimise(state, system, noiseM);
    if (!minimum) return undefined;
    state = minimum;
    measure(state, system);
    noiseM = Math.max(medianOf(system.misses) / CHI3_MEDIAN, LEAST_NOISE_M);
    weigh(system, noiseM, round >= ROUNDS - 2);
  }
  linearise(state, system, noiseM);
  const { normal, pulls, misses, weights } = system;
  const covariance = inverseOf(normal);
  if (!covariance) return undefined;
  const oddness = oddnessOf(state, pulls);
  return {
    state,
    missesM: misses,
    weights,
    noiseM,
    covariance,
    oddness,
    cost: costOf(state, system, noiseM),
  };
}

/** Of the hand alone: where fingers come down says nothing about it. */
function oddnessOf({ fingers }: MountState, pulls: Float64Array): number {
  let square = 0;
  let count = 0;
  for (let i = 0; i < fingers.length; i++) {
    if (i % PER_FINGER >= OF_HAND) continue;
    square += pulls[OF_FINGERS + i] * fingers[i] ** 2;
    count++;
  }
  return square / count;
}

/** All of solveMountSteps, now. */
export const solveMount = (...given: Parameters<typeof solveMountSteps>): MountSolution | undefined =>
  atOnce(solveMountSteps(...given));

interface System {
  readonly skeleton: Skeleton;
  readonly samples: readonly MountSample[];
  readonly prior: ArrayLike<number> | undefined;
  /** How far each unknown is from where its pull goes. */
  readonly off: Float64Array;
  readonly room: MountRoom;
  /** One over the square of the spread of each unknown; 0 for mount and point. */
  readonly pulls: Float64Array;
  readonly weights: Float64Array;
  readonly misses: Float64Array;
  readonly normal: Float64Array;
  readonly right: Float64Array;
}

function createSystem(
  skeleton: Skeleton,
  samples: readonly MountSample[],
  spread: MountSpread,
  prior: MountPrior | undefined,
): System {
  const pulls = pullsOf(spread);
  if (prior) {
    pulls.fill(1 / prior.placeM ** 2, MOUNT_PLACE, MOUNT_PLACE + 3);
    pulls.fill(1 / prior.turnRad ** 2, MOUNT_TURN, MOUNT_TURN + 3);
  }
  return {
    skeleton,
    samples,
    prior: prior?.mount,
    off: new Float64Array(UNKNOWNS),
    room: createMountRoom(skeleton, DOF_COUNT),
    pulls,
    weights: new Float64Array(samples.length),
    misses: new Float64Array(samples.length),
    normal: new Float64Array(UNKNOWNS * UNKNOWNS),
    right: new Float64Array(UNKNOWNS),
  };
}

/** Strength of the pull of each unknown towards 0: one over its variance; mount and point are free. */
export function pullsOf({ jointDeg, bonePart, asideM, outM, alongM, aimM }: MountSpread): Float64Array {
  const joint = (180 / Math.PI / jointDeg) ** 2;
  const bone = 1 / bonePart ** 2;
  const aim = 1 / aimM ** 2;
  const touch = [asideM, outM, alongM].map((m) => 1 / m ** 2);
  const own = [joint, joint, joint, joint, bone, bone, bone, ...touch, aim, aim, aim];
  return Float64Array.from({ length: UNKNOWNS }, (_, i) =>
    i < OF_FINGERS ? 0 : own[(i - OF_FINGERS) % PER_FINGER],
  );
}

function* minimise(start: MountState, system: System, noiseM: number): Steps<MountState | undefined> {
  let state = start;
  let cost = costOf(state, system, noiseM);
  let damping = 1e-6;
  const factor = new Float64Array(UNKNOWNS * UNKNOWNS);
  const step = new Float64Array(UNKNOWNS);
  for (let count = 0; count < STEPS_A_ROUND; count++) {
    yield;
    linearise(state, system, noiseM);
    let gain = -1;
    for (let attempt = 0; attempt < 8 && gain < 0; attempt++) {
      factor.set(system.normal);
      for (let i = 0; i < UNKNOWNS; i++) factor[i * UNKNOWNS + i] *= 1 + damping;
      // Whatever nothing decides at all, such as the point for no samples, stays where it is.
      for (let i = 0; i < OF_FINGERS; i++) factor[i * UNKNOWNS + i] += 1e-3;
      if (!factorise(factor, UNKNOWNS)) return undefined;
      step.set(system.right);
      solveLower(factor, UNKNOWNS, step);
      solveUpper(factor, UNKNOWNS, step);
      const tried = shiftMount(state, step);
      const triedCost = costOf(tried, system, noiseM);
      if (triedCost <= cost) {
        gain = cost - triedCost;
        state = tried;
        cost = triedCost;
        damping = Math.max(damping / 30, 1e-9);
      } else damping = Math.max(damping * 10, 1e-4);
    }
    if (gain <= 1e-6 * cost) break;
  }
  return state;
}

function costOf(state: MountState, system: System, noiseM: number): number {
  const { skeleton, samples, room, pulls, weights, off } = system;
  let cost = 0;
  fillOff(state, system);
  for (let i = 0; i < UNKNOWNS; i++) cost += pulls[i] * off[i] ** 2;
  for (const [n, sample] of samples.entries()) {
    if (weights[n] === 0) continue;
    fillMiss(room, skeleton, state, sample, false);
    const [x, y, z] = room.miss;
    cost += (weights[n] * (x * x + y * y + z * z)) / noiseM ** 2;
  }
  return cost;
}

function fillOff({ mount, fingers }: MountState, { prior, off }: System): void {
  off.set(fingers, OF_FINGERS);
  if (!prior) return;
  const back = conjugate([prior[3], prior[4], prior[5], prior[6]]);
  const turned = rotationVector(multiply([mount[3], mount[4], mount[5], mount[6]], back));
  for (let k = 0; k < 3; k++) {
    off[MOUNT_PLACE + k] = mount[k] - prior[k];
    off[MOUNT_TURN + k] = turned[k];
  }
}

/** The normal matrix, lower and upper half, and its right side. */
function linearise(state: MountState, system: System, noiseM: number): void {
  const { skeleton, samples, room, pulls, weights, normal, right, off } = system;
  normal.fill(0);
  fillOff(state, system);
  for (let i = 0; i < UNKNOWNS; i++) {
    normal[i * UNKNOWNS + i] = pulls[i];
    right[i] = -pulls[i] * off[i];
  }
  for (const [n, sample] of samples.entries()) {
    if (weights[n] === 0) continue;
    fillMiss(room, skeleton, state, sample, true);
    const weight = weights[n] / noiseM ** 2;
    const own = OF_FINGERS + sample.finger * PER_FINGER;
    for (let row = 0; row < 3; row++) {
      const slopes = room.slopes.subarray(row * UNKNOWNS, (row + 1) * UNKNOWNS);
      for (let a = 0; a < OF_FINGERS + PER_FINGER; a++) {
        const i = a < OF_FINGERS ? a : own + a - OF_FINGERS;
        right[i] -= weight * slopes[i] * room.miss[row];
        for (let b = 0; b <= a; b++) {
          const k = b < OF_FINGERS ? b : own + b - OF_FINGERS;
          normal[i * UNKNOWNS + k] += weight * slopes[i] * slopes[k];
        }
      }
    }
  }
  for (let i = 0; i < UNKNOWNS; i++) {
    for (let k = 0; k < i; k++) normal[k * UNKNOWNS + i] = normal[i * UNKNOWNS + k];
  }
}

function measure(state: MountState, { skeleton, samples, room, misses }: System): void {
  for (const [n, sample] of samples.entries()) {
    fillMiss(room, skeleton, state, sample, false);
    misses[n] = Math.hypot(...room.miss);
  }
}

function weigh({ misses, weights }: System, noiseM: number, last: boolean): void {
  for (let n = 0; n < misses.length; n++) {
    const far = misses[n] / (noiseM * Math.sqrt(3));
    weights[n] = last && far > SLIPPED / Math.sqrt(3) ? 0 : Math.min(1, HUBER / far);
  }
}

function medianOf(values: Float64Array): number {
  return Float64Array.from(values).sort()[values.length >> 1];
}

function inverseOf(matrix: Float64Array): Float64Array | undefined {
  const factor = Float64Array.from(matrix);
  for (let i = 0; i < OF_FINGERS; i++) factor[i * UNKNOWNS + i] += 1e-3;
  if (!factorise(factor, UNKNOWNS)) return undefined;
  const inverse = new Float64Array(UNKNOWNS * UNKNOWNS);
  const column = new Float64Array(UNKNOWNS);
  for (let i = 0; i < UNKNOWNS; i++) {
    column.fill(0);
    column[i] = 1;
    solveLower(factor, UNKNOWNS, column);
    solveUpper(factor, UNKNOWNS, column);
    for (let k = 0; k < UNKNOWNS; k++) inverse[k * UNKNOWNS + i] = column[k];
  }
  return inverse;
}
