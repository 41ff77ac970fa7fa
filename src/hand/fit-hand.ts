import { atOnce, type Steps } from '../steps.js';
import { DOF_COUNT, type DofArray, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import { buildSkeleton, type HandState, poseFrame, startShared } from './fit-model.js';
import { solveHand } from './fit-solve.js';
import { fitPalm, startAngles } from './fit-start.js';
import { createPoses, forwardKinematics } from './forward.js';
import {
  distanceBetween,
  invalidPositions,
  type JointPositions,
  mirrorPoints,
  type PointArray,
  readPositions,
  sideOf,
} from './joint-positions.js';
import { type HandSide, JOINT_COUNT, POSE_STRIDE } from './joints.js';
import { BUCHHOLZ_FRACTIONS } from './proportions.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

export interface FitOptions {
  /** Which hand it is. Left out: worked out from the positions. */
  readonly side?: HandSide;
  /**
   * Other moments of the same hand, for fitHand: its bones are then those that explain all of them together, as
   * fitHandFrames finds them, and the pose is still that of the first one.
   */
  readonly also?: readonly JointPositions[];
}

/** One frame of a fitted hand. */
export interface FittedPose {
  /** Radians, in DOF_NAMES order. Measured, so they may lie outside the ranges. */
  readonly angles: DofArray;
  /** Pose of the wrist in the frame of the positions: x, y, z (m), qx, qy, qz, qw. */
  readonly root: Float64Array;
  /** Root mean square distance between given and fitted joints, metres. */
  readonly rmsM: number;
  /** JOINT_COUNT distances, metres; NaN for a palm that was not given. */
  readonly residualsM: Float64Array;
}

export interface HandFit extends FittedPose {
  /** Bone lengths and placement of this hand; skeletonOptions gives them as plain data. */
  readonly skeleton: Skeleton;
}

export interface HandFramesFit {
  readonly skeleton: Skeleton;
  readonly frames: readonly FittedPose[];
  /** Which frames of the recording these are: all of them, unless it was thinned. */
  readonly frameIndices: readonly number[];
  /** Root mean square distance over all joints of all frames, metres. */
  readonly rmsM: number;
}

/** A longer recording is thinned to this many frames, evenly. */
const MOST_FRAMES = 60;
/** A bone that changes more than this between frames, as a share of its mean, belongs to another hand. */
const BONE_CHANGE = 0.35;

/**
 * Fits a hand to the joint positions of one moment, as any WebXR or OpenXR hand tracker gives them.
 *
 * Found: lengths of all bones, place of the metacarpals and knuckles, the plane in which each finger bends, all
 * angles, and the wrist's pose. One frame cannot tell the palm's arch from a knuckle that sits low, nor the zero
 * of the thumb from its pose: there the default hand of the same size decides. More moments tell, see `also` and
 * fitHandFrames.
 *
 * @param positions metres, in any rigid frame; x, y, z by WebXR joint name; `palm` optional: not weighed, but
 *   part of rmsM
 * @throws TautlineError fileInvalid if the positions cannot be a hand in metres, or could be either hand
 */
export function fitHand(positions: JointPositions, options: FitOptions = {}): HandFit {
  const { skeleton, frames } = fitHandFrames([positions, ...(options.also ?? [])], options);
  return { skeleton, ...frames[0] };
}

/**
 * Fits one hand to several moments: bones and their placement are shared, angles and wrist are each frame's own.
 * @param recording one or more sets of positions of the same hand; more than 60 are thinned evenly to 60
 * @throws TautlineError fileInvalid as fitHand does, naming the frame, or if the bones change from frame to frame
 */
export const fitHandFrames = (
  recording: readonly JointPositions[],
  options: FitOptions = {},
): HandFramesFit => atOnce(fitHandFramesSteps(recording, options));

/** fitHandFrames in steps of a millisecond or so: many frames take seconds in all. */
export function* fitHandFramesSteps(
  recording: readonly JointPositions[],
  options: FitOptions = {},
): Steps<HandFramesFit> {
  if (recording.length === 0) throw invalidPositions('The recording has no frames.', 'Give one or more.');
  const every = Math.max(1, recording.length / MOST_FRAMES);
  const chosen = Array.from({ length: Math.ceil(recording.length / every - 1e-9) }, (_, i) =>
    Math.floor(i * every),
  );
  const frames = chosen.map((n) =>
    recording.length === 1 ? readPositions(recording[n]) : readFrame(recording[n], n),
  );
  const side = options.side ?? commonSide(frames, chosen);
  requireOneHand(frames, chosen);
  // A left hand is fitted as the right one in the mirror.
  if (side === 'left') for (const points of frames) mirrorPoints(points);

  const palms: ReturnType<typeof fitPalm>[] = [];
  for (const points of frames) {
    palms.push(fitPalm(points));
    yield;
  }
  const lengthM = mean(palms.map((palm) => palm.lengthM));
  const breadthM = mean(palms.map((palm) => palm.breadthM));
  const shared = startShared(lengthM, breadthM, frames);
  const skeleton = buildRight(lengthM, breadthM, shared);
  const posed: ReturnType<typeof poseFrame>[] = [];
  for (const [n, points] of frames.entries()) {
    yield;
    const expected = new Float64Array(DOF_COUNT);
    expected[RING_ARCH] = palms[n].ringArch;
    expected[LITTLE_ARCH] = palms[n].littleArch;
    posed.push(poseFrame(skeleton, palms[n].root, startAngles(skeleton, palms[n], points), expected));
  }
  const state: HandState = { lengthM, breadthM, shared, expected: shared, skeleton, frames: posed };
  const solved = yield* solveHand(state, frames);

  if (side === 'left') for (const points of frames) mirrorPoints(points);
  const fitted = buildSkeleton(side, fingerToWrist(solved.skeleton), breadthM, solved.shared);
  const poses = solved.frames.map(({ root, dofs }, n) =>
    report(fitted, side === 'left' ? mirroredRoot(root) : root, dofs, frames[n]),
  );
  return {
    skeleton: fitted,
    frames: poses,
    frameIndices: chosen,
    rmsM: Math.sqrt(mean(poses.map(({ rmsM }) => rmsM ** 2))),
  };
}

/** Hand length as createSkeleton means it, of a hand with these bones: along the straight middle finger. */
function fingerToWrist({ placement, boneLengthsM }: Skeleton): number {
  const fractions = BUCHHOLZ_FRACTIONS.middle.reduce((sum, fraction) => sum + fraction, 0);
  const phalanges = boneLengthsM.middle.slice(1).reduce((sum, length) => sum + length, 0);
  return (Math.hypot(...placement.middle.knuckleM) + phalanges) / fractions;
}

function buildRight(lengthM: number, breadthM: number, shared: Float64Array): Skeleton {
  try {
    return buildSkeleton('right', lengthM, breadthM, shared);
  } catch (error) {
    if (error instanceof RangeError) throw invalidPositions(`These positions are no hand: ${error.message}.`);
    throw error;
  }
}

function readFrame(positions: JointPositions, n: number): PointArray {
  try {
    return readPositions(positions);
  } catch (error) {
    throw error instanceof Error ? inFrame(error, n) : error;
  }
}

function inFrame(error: Error, n: number): Error {
  const remedy = 'remedy' in error && typeof error.remedy === 'string' ? error.remedy : undefined;
  return invalidPositions(`Frame ${n + 1}: ${error.message}`, remedy);
}

/** The side on which the frames that can tell agree. */
function commonSide(frames: readonly PointArray[], chosen: readonly number[]): HandSide {
  let undecided: unknown;
  let side: HandSide | undefined;
  for (const [i, points] of frames.entries()) {
    let here: HandSide;
    try {
      here = sideOf(points);
    } catch (error) {
      undecided ??= error;
      continue;
    }
    side ??= here;
    if (here !== side) {
      throw invalidPositions(
        `Frame ${chosen[i] + 1} is a ${here} hand, earlier ones are a ${side} hand.`,
        'Say which hand it is, or fit the hands one by one.',
      );
    }
  }
  if (side === undefined) throw undecided;
  return side;
}

function requireOneHand(frames: readonly PointArray[], chosen: readonly number[]): void {
  for (const start of CHAIN_START) {
    for (let joint = start; joint < start + 3; joint++) {
      const first = distanceBetween(frames[0], joint, joint + 1);
      for (const [i, points] of frames.entries()) {
        const length = distanceBetween(points, joint, joint + 1);
        if (Math.abs(length - first) > BONE_CHANGE * first + 0.004) {
          throw invalidPositions(
            `Frame ${chosen[i] + 1} has other bones than frame 1: ${(length * 1000).toFixed(0)} mm where it was ${(first * 1000).toFixed(0)} mm.`,
            'Give frames of one hand.',
          );
        }
      }
    }
  }
}

function report(skeleton: Skeleton, root: Float64Array, angles: DofArray, points: PointArray): FittedPose {
  const poses = createPoses();
  forwardKinematics(skeleton, angles, poses, root);
  const residualsM = new Float64Array(JOINT_COUNT);
  let sum = 0;
  let given = 0;
  for (let joint = 0; joint < JOINT_COUNT; joint++) {
    const [x, y, z] = [0, 1, 2].map((k) => poses[joint * POSE_STRIDE + k] - points[joint * 3 + k]);
    residualsM[joint] = Math.hypot(x, y, z);
    if (Number.isNaN(residualsM[joint])) continue;
    sum += residualsM[joint] ** 2;
    given++;
  }
  return { angles, root, rmsM: Math.sqrt(sum / given), residualsM };
}

function mirroredRoot([x, y, z, qx, qy, qz, qw]: Float64Array): Float64Array {
  return Float64Array.of(-x, y, z, qx, -qy, -qz, qw);
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}
