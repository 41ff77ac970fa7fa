import { atOnce, type Steps } from '../steps.js';
import { DOF_COUNT } from './dofs.js';
import { FINGERS, type Finger, type HandSide } from './joints.js';
import {
  createMountRoom,
  createMountState,
  fillTouch,
  MOUNT_PLACE,
  MOUNT_TURN,
  type MountSample,
  OF_FINGERS,
  PER_FINGER,
  type RigidPose,
  UNKNOWNS,
} from './mount-model.js';
import {
  type MountPrior,
  type MountSolution,
  type MountSpread,
  solveMountSteps,
  USUAL_SPREAD,
} from './mount-solve.js';
import { mountFromMotion, mountFromTouches, turnSpread } from './mount-start.js';
import { conjugate, multiply, rotate, rotationVector, type Vector } from './rotation.js';
import type { Skeleton } from './skeleton.js';
import { eigenOf } from './symmetric.js';

export type { MountSample, RigidPose } from './mount-model.js';
export type { MountSpread } from './mount-solve.js';

/** Why samples do not give a mount. */
export type MountFault =
  | 'noTracker'
  | 'tooFewFingers'
  | 'handStill'
  | 'oneAxis'
  | 'pointMoved'
  | 'slipped'
  | 'notObservable'
  | 'handDiffers'
  | 'implausible';

export interface FittedMount {
  /** Of the wrist in the frame of the tracker: [x, y, z, qx, qy, qz, qw], m. */
  readonly mount: readonly number[];
  /** By fingertips on a point, or by nodding and waving alone. */
  readonly by: 'touch' | 'motion';
  /** One standard deviation, all three axes taken together. */
  readonly rotationDeg: number;
  readonly translationM: number;
  /** By how much fingertips missed the point in the end, rms over what was not a slip, m. */
  readonly residualM: number;
  /** Part of the samples in which the fingertip had slipped. */
  readonly slipped: number;
  /** What the joints are off, radians, in DOF_NAMES order: added to what the glove says, they fit best. */
  readonly jointBias?: readonly number[];
  /** Covariance of what the joints of each finger are off, radians squared: five times 4 x 4, row by row. */
  readonly jointCovariance?: readonly number[];
}

export type MountOutcome =
  | { readonly fitted: FittedMount }
  | { readonly fault: MountFault; readonly line: string };

/** Samples that a finger needs to count as one that touched. */
const LEAST_OF_A_FINGER = 8;
const LEAST_FINGERS = 3;
const degrees = (radians: number): number => (radians * 180) / Math.PI;
const LEAST_TURN_RAD = (8 * Math.PI) / 180;
const LEAST_SECOND_TURN_RAD = (4 * Math.PI) / 180;
/** Stated uncertainties are widened by this: for what the model leaves out, such as skin that gives way. */
const WIDENED = 1.7;
const MOST_ROTATION_DEG = 8;
const MOST_TRANSLATION_M = 0.02;
/** So much of that may come from a hand that is odd: it is stated, and fitting the fingers first makes it less. */
const MOST_FOR_ODDNESS = 1.6;
const MOST_RESIDUAL_M = 0.006;
const MOST_SLIPPED = 0.3;
/**
 * Most usual hands stay below 0.2; those with a sensor that is off by a tenth of its range below 0.7; other hands and
 * other fingers are above 1.9 (scripts/mount-trials.ts). In between, what is found is known less well than it seems.
 */
const USUAL_ODDNESS = 0.2;
const MOST_ODDNESS = 1;
/** No tracker sits farther from the wrist than this. */
const FARTHEST_M = 0.3;
/** Of the back of a hand whose palm is down. */
const LEAST_UP = 0.3;
/** What nodding and waving leave, one standard deviation: a wrist's axes are neither square nor through one point. */
const BY_MOTION = { rotationDeg: 6, translationM: 0.011 } as const;
/** The same, of one axis. */
const MOTION_TURN_RAD = ((6 / Math.sqrt(3)) * Math.PI) / 180;
const MOTION_PLACE_M = 0.011 / Math.sqrt(3);

/**
 * The mount from fingertips that rest on one fixed point, one finger after the other, while the hand turns about it.
 * @param start from nodding and waving, if there is one: it counts as far as it can be trusted
 */
export function* fitMountSteps(
  skeleton: Skeleton,
  samples: readonly MountSample[],
  start?: RigidPose,
  spread: MountSpread = USUAL_SPREAD,
): Steps<MountOutcome> {
  const fingers = fingersOf(samples);
  const used = samples.filter(({ finger }) => fingers.includes(finger));
  if (fingers.length < LEAST_FINGERS) {
    const names = fingers.map((finger) => FINGERS[finger]).join(' and ') || 'no finger';
    return fault('tooFewFingers', `Only ${names} touched the point: at least three fingers are needed.`);
  }
  const moved = turnFault(used, fingers);
  if (moved) return moved;

  const room = createMountRoom(skeleton, DOF_COUNT);
  const none = new Float64Array(UNKNOWNS - OF_FINGERS);
  const touched = mountFromTouches(used, ({ finger, dofs }) => {
    fillTouch(room, skeleton, none, finger, dofs);
    return [...room.touch] as Vector;
  });
  if (!touched) return fault('handStill', STILL);
  const prior = start && {
    mount: nearestSense(start, touched.mount),
    turnRad: MOTION_TURN_RAD,
    placeM: MOTION_PLACE_M,
  };
  const solveFrom = (mount: RigidPose, known?: MountPrior) =>
    solveMountSteps(createMountState(mount, touched.point), skeleton, used, spread, known);
  let solved = yield* solveFrom(prior ? prior.mount : touched.mount, prior);
  // Where nodding and waving contradict the touches, they were not made as asked: they count for nothing.
  if (prior && !(solved && agrees(solved.state.mount, prior))) solved = yield* solveFrom(touched.mount);
  return solved ? judge(solved, used) : fault('notObservable', 'What was seen does not decide the mount.');
}

/**
 * Nodding gives its axis, but its sense only to those who begin downwards, and waving likewise. The touches know it: of
 * the four mounts that share the axes, the one that is nearest to theirs.
 */
function nearestSense(start: RigidPose, touched: RigidPose): Float64Array {
  let best = Float64Array.from(start);
  let nearest = -1;
  for (const half of HALF_TURNS) {
    const turn = multiply([start[3], start[4], start[5], start[6]], half);
    const near = Math.abs(turn.reduce((sum, value, k) => sum + value * touched[3 + k], 0));
    if (near <= nearest) continue;
    nearest = near;
    best = Float64Array.of(start[0], start[1], start[2], ...turn);
  }
  return best;
}

/** Half a turn about no axis, X, Y, Z. */
const HALF_TURNS = [
  [0, 0, 0, 1],
  [1, 0, 0, 0],
  [0, 1, 0, 0],
  [0, 0, 1, 0],
] as const;

/** Both within three standard deviations. */
function agrees(mount: RigidPose, prior: MountPrior): boolean {
  const back = conjugate([prior.mount[3], prior.mount[4], prior.mount[5], prior.mount[6]]);
  const turned = rotationVector(multiply([mount[3], mount[4], mount[5], mount[6]], back));
  const far = [0, 1, 2].map((k) => mount[k] - prior.mount[k]);
  return (
    Math.hypot(...turned) <= 3 * Math.sqrt(3) * prior.turnRad &&
    Math.hypot(...far) <= 3 * Math.sqrt(3) * prior.placeM
  );
}

/** All of fitMountSteps, now. */
export const fitMount = (...given: Parameters<typeof fitMountSteps>): MountOutcome =>
  atOnce(fitMountSteps(...given));

/** The mount from nodding and waving alone, for a start or where there is nothing to touch. */
export function fitMountByMotion(
  side: HandSide,
  nod: readonly RigidPose[],
  wave: readonly RigidPose[],
): MountOutcome {
  const found = mountFromMotion(side, nod, wave);
  if (!found || found.nodRad < LEAST_TURN_RAD || found.waveRad < LEAST_SECOND_TURN_RAD) {
    return fault('handStill', 'The hand hardly nodded or waved: bend the wrist as far as is easy.');
  }
  if (Math.abs(found.betweenRad - Math.PI / 2) > Math.PI / 6) {
    return fault('oneAxis', 'Nodding and waving went the same way: nod up and down, then wave sideways.');
  }
  if (found.rmsM > 2 * MOST_RESIDUAL_M) {
    const mm = (found.rmsM * 1000).toFixed(0);
    return fault('pointMoved', `The wrist wandered by ${mm} mm: rest the forearm on the table meanwhile.`);
  }
  const mount = [...found.mount];
  if (Math.hypot(mount[0], mount[1], mount[2]) > FARTHEST_M) return fault('implausible', tooFar(mount));
  // The palm was down, so the back of the hand was up: +Y of the wrist.
  const [rest] = wave;
  const [, up] = rotate(multiply([rest[3], rest[4], rest[5], rest[6]], mount.slice(3)), [0, 1, 0]);
  if (up < LEAST_UP) {
    return fault('implausible', 'By this the palm was up: keep it down, and wave towards the thumb first.');
  }
  return { fitted: { mount, by: 'motion', ...BY_MOTION, residualM: found.rmsM, slipped: 0 } };
}

const STILL = 'The hand hardly turned: turn it about the fingertip, to all sides.';
const fault = (name: MountFault, line: string): { fault: MountFault; line: string } => ({
  fault: name,
  line,
});
const tooFar = (mount: ArrayLike<number>): string =>
  `By this the tracker sits ${(Math.hypot(mount[0], mount[1], mount[2]) * 100).toFixed(0)} cm from the wrist: is it the right one?`;

function fingersOf(samples: readonly MountSample[]): number[] {
  return FINGERS.map((_, finger) => finger).filter(
    (finger) => samples.filter((sample) => sample.finger === finger).length >= LEAST_OF_A_FINGER,
  );
}

/** Fingers about which the hand hardly turned, or about one axis only. */
function turnFault(samples: readonly MountSample[], fingers: readonly number[]): MountOutcome | undefined {
  const spreads = fingers.map((finger) =>
    turnSpread(samples.filter((sample) => sample.finger === finger).map(({ tracker }) => tracker)),
  );
  const turned = spreads.filter(([, , most]) => most >= LEAST_TURN_RAD).length;
  if (turned < LEAST_FINGERS) return fault('handStill', STILL);
  const twice = spreads.filter(([, second]) => second >= LEAST_SECOND_TURN_RAD).length;
  if (twice < LEAST_FINGERS) {
    return fault('oneAxis', 'The hand turned about one axis only: turn it to all sides, as a joystick.');
  }
  return undefined;
}

function judge(solution: MountSolution, samples: readonly MountSample[]): MountOutcome {
  const { state, missesM, weights, covariance, noiseM, oddness } = solution;
  let square = 0;
  let kept = 0;
  for (let n = 0; n < samples.length; n++) {
    if (weights[n] === 0) continue;
    square += missesM[n] ** 2;
    kept++;
  }
  const residualM = Math.sqrt(square / Math.max(1, kept));
  const slipped = 1 - kept / samples.length;
  const mm = (metres: number): string => (metres * 1000).toFixed(1);
  if (!(residualM <= MOST_RESIDUAL_M) || !(noiseM <= MOST_RESIDUAL_M)) {
    return fault(
      'pointMoved',
      `The fingertips miss one common point by ${mm(residualM)} mm rms: touch one spot that does not move.`,
    );
  }
  if (slipped > MOST_SLIPPED) {
    const names = slippedFingers(samples, weights);
    return fault(
      'slipped',
      `${names} slipped off the point for ${(slipped * 100).toFixed(0)} % of the time.`,
    );
  }
  const seen = uncertaintyOf(covariance, 0);
  if (isTooOpen(seen)) return fault('notObservable', weakestLine(covariance, seen));
  const uncertain = uncertaintyOf(covariance, oddness);
  if (oddness > MOST_ODDNESS || isTooOpen(uncertain, MOST_FOR_ODDNESS)) {
    return fault(
      'handDiffers',
      'It only goes together with joints or bones far from the fit: fit the fingers first, then the mount.',
    );
  }
  const mount = [...state.mount];
  if (Math.hypot(mount[0], mount[1], mount[2]) > FARTHEST_M) return fault('implausible', tooFar(mount));
  const jointBias = Array.from({ length: DOF_COUNT }, (_, dof) =>
    dof < 4 * FINGERS.length ? state.fingers[(dof >> 2) * PER_FINGER + (dof & 3)] : 0,
  );
  const jointCovariance = jointCovarianceOf(covariance);
  return { fitted: { mount, by: 'touch', ...uncertain, residualM, slipped, jointBias, jointCovariance } };
}

function jointCovarianceOf(covariance: Float64Array): number[] {
  const found: number[] = [];
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const own = OF_FINGERS + finger * PER_FINGER;
    for (let i = 0; i < 4; i++) {
      for (let j = 0; j < 4; j++) found.push(covariance[(own + i) * UNKNOWNS + own + j]);
    }
  }
  return found;
}

function slippedFingers(samples: readonly MountSample[], weights: Float64Array): string {
  const names = FINGERS.filter((_: Finger, finger) => {
    const own = samples.flatMap((sample, n) => (sample.finger === finger ? [weights[n]] : []));
    return own.filter((weight) => weight === 0).length > MOST_SLIPPED * own.length;
  });
  const list = names.join(' and ') || 'fingers';
  return `${list[0].toUpperCase()}${list.slice(1)}`;
}

interface Uncertain {
  readonly rotationDeg: number;
  readonly translationM: number;
}

const isTooOpen = ({ rotationDeg, translationM }: Uncertain, times = 1): boolean =>
  rotationDeg > times * MOST_ROTATION_DEG || translationM > times * MOST_TRANSLATION_M;

function uncertaintyOf(covariance: Float64Array, oddness: number): Uncertain {
  const widened = WIDENED * Math.sqrt(Math.max(1, oddness / USUAL_ODDNESS));
  const trace = (from: number): number =>
    [0, 1, 2].reduce((sum, k) => sum + covariance[(from + k) * UNKNOWNS + from + k], 0);
  return {
    rotationDeg: widened * degrees(Math.sqrt(trace(MOUNT_TURN))),
    translationM: widened * Math.sqrt(trace(MOUNT_PLACE)),
  };
}

/** What is decided least: the greatest axis of the covariance, the smallest singular value of the whitened Jacobian. */
function weakestLine(covariance: Float64Array, { rotationDeg, translationM }: Uncertain): string {
  const block = (from: number): number[] =>
    [0, 1, 2].flatMap((i) => [0, 1, 2].map((j) => covariance[(from + i) * UNKNOWNS + from + j]));
  const [turn, place] = [block(MOUNT_TURN), block(MOUNT_PLACE)].map((m) => eigenOf(m, 3).values[2]);
  const weak =
    rotationDeg > MOST_ROTATION_DEG
      ? `by ${degrees(Math.sqrt(turn)).toFixed(0)} degrees about one axis`
      : `by ${(Math.sqrt(place) * 1000).toFixed(0)} mm along one line`;
  const all = `${rotationDeg.toFixed(0)} degrees, ${(translationM * 1000).toFixed(0)} mm`;
  return `What was seen leaves the mount open ${weak} (${all}): turn the hand more, with all five fingers.`;
}
