import { TautlineError } from '../errors.js';
import {
  FINGER_BASE,
  type HandSide,
  JOINT_COUNT,
  JOINT_NAMES,
  type JointName,
  PALM,
  WRIST,
} from './joints.js';

/** Where a tracker saw the joints: WebXR names, metres, any rigid frame. `palm` may be left out. */
export type JointPositions = Partial<Readonly<Record<JointName, readonly number[]>>>;

/** JOINT_COUNT x (x, y, z), metres; the palm is NaN when it was not given. */
export type PointArray = Float64Array;

const INDEX_KNUCKLE = 7;
const MIDDLE_KNUCKLE = 12;
const LITTLE_KNUCKLE = 22;

/** From the wrist to the middle knuckle, metres: from a small child's hand to the largest. */
const WRIST_TO_KNUCKLE_M = [0.03, 0.15] as const;
const UNITS = [
  ['millimetres', 1000],
  ['centimetres', 100],
] as const;

/** Sum of evidence below which a hand could as well be the other one: radians of flexion and the like. */
const LEAST_EVIDENCE = 0.25;

export function invalidPositions(message: string, remedy?: string): TautlineError {
  return new TautlineError('fileInvalid', message, remedy);
}

/**
 * The positions as one array, after checks that they can be a hand in metres.
 * @throws TautlineError fileInvalid
 */
export function readPositions(positions: JointPositions): PointArray {
  const points = new Float64Array(JOINT_COUNT * 3).fill(Number.NaN);
  const missing = JOINT_NAMES.filter((name, joint) => joint !== PALM && positions[name] === undefined);
  if (missing.length > 0) {
    const others = missing.length > 1 ? ` and ${missing.length - 1} more` : '';
    throw invalidPositions(
      `Joint ${missing[0]}${others} missing from the positions.`,
      'All 25 joints of WebXR Hand Input are needed.',
    );
  }
  for (const [joint, name] of JOINT_NAMES.entries()) {
    const point = positions[name];
    if (point === undefined) continue;
    if (point.length !== 3 || !Array.from(point).every(Number.isFinite)) {
      throw invalidPositions(
        `Joint ${name} is at [${Array.from(point).join(', ')}].`,
        'Expected three finite numbers: x, y, z in metres.',
      );
    }
    points.set(point, joint * 3);
  }
  requireMetres(points);
  requireSpread(points);
  return points;
}

/**
 * Which hand it is: fingers bend towards the palm and the thumb stands on the palm's side.
 * @throws TautlineError fileInvalid if the hand is too flat to tell
 */
export function sideOf(points: PointArray): HandSide {
  const evidence = rightEvidence(points);
  if (Math.abs(evidence) < LEAST_EVIDENCE) {
    throw invalidPositions(
      'The hand is too flat to tell left from right.',
      'Say which hand it is, or bend the fingers a little.',
    );
  }
  return evidence > 0 ? 'right' : 'left';
}

/** Mirrors the points in the YZ plane, in place. */
export function mirrorPoints(points: PointArray): void {
  for (let joint = 0; joint < JOINT_COUNT; joint++) points[joint * 3] *= -1;
}

export function distanceBetween(points: PointArray, a: number, b: number): number {
  const [x, y, z] = between(points, a, b);
  return Math.hypot(x, y, z);
}

function rightEvidence(points: PointArray): number {
  const across = unit(between(points, INDEX_KNUCKLE, LITTLE_KNUCKLE));
  const along = unit(between(points, WRIST, MIDDLE_KNUCKLE));
  // On a right hand: out of the back of the hand. On a left hand: out of the palm.
  const up = unit(cross(across, along));
  let evidence = 0;
  for (let finger = 1; finger < 5; finger++) {
    const base = FINGER_BASE[finger];
    let before = unit(between(points, base, base + 1));
    for (let joint = base + 1; joint < base + 4; joint++) {
      const bone = unit(between(points, joint, joint + 1));
      evidence -= dot(cross(before, bone), across) / 4;
      before = bone;
    }
  }
  // The thumb's height against the plane of the knuckles, in lengths of the palm.
  const palmM = distanceBetween(points, WRIST, MIDDLE_KNUCKLE);
  for (const joint of [2, 3, 4]) evidence -= dot(between(points, WRIST, joint), up) / palmM / 1.5;
  return evidence;
}

function requireMetres(points: PointArray): void {
  const [min, max] = WRIST_TO_KNUCKLE_M;
  const palmM = distanceBetween(points, WRIST, MIDDLE_KNUCKLE);
  if (palmM >= min && palmM <= max) return;
  const unitName = UNITS.find(([, perMetre]) => palmM >= min * perMetre && palmM <= max * perMetre)?.[0];
  throw invalidPositions(
    `The middle knuckle is ${Number(palmM.toPrecision(3))} m from the wrist.`,
    unitName
      ? `The positions look like ${unitName}; give them in metres.`
      : `Expected ${min} to ${max} m for a hand in metres.`,
  );
}

/** Neighbouring joints must be apart and the knuckles must span a plane with the wrist. */
function requireSpread(points: PointArray): void {
  for (let finger = 0; finger < 5; finger++) {
    const base = FINGER_BASE[finger];
    const last = base + (finger === 0 ? 3 : 4);
    for (let joint = base; joint < last; joint++) {
      const length = distanceBetween(points, joint, joint + 1);
      if (length < 0.004 || length > 0.15) {
        throw invalidPositions(
          `${JOINT_NAMES[joint]} and ${JOINT_NAMES[joint + 1]} are ${Number((length * 1000).toPrecision(3))} mm apart.`,
          'Expected 4 to 150 mm.',
        );
      }
    }
  }
  const across = between(points, INDEX_KNUCKLE, LITTLE_KNUCKLE);
  const along = between(points, WRIST, MIDDLE_KNUCKLE);
  const area = cross(across, along);
  if (
    Math.hypot(...area) < 0.3 * Math.hypot(...across) * Math.hypot(...along) ||
    Math.hypot(...across) < 0.02
  ) {
    throw invalidPositions(
      'The wrist and the knuckles lie on one line.',
      'Give the positions of a hand, all joints in one frame.',
    );
  }
}

type Triple = [number, number, number];
const between = (points: PointArray, a: number, b: number): Triple => [
  points[b * 3] - points[a * 3],
  points[b * 3 + 1] - points[a * 3 + 1],
  points[b * 3 + 2] - points[a * 3 + 2],
];
const dot = (a: Triple, b: Triple): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a: Triple, b: Triple): Triple => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
const unit = (a: Triple): Triple => {
  const length = Math.hypot(...a) || 1;
  return [a[0] / length, a[1] / length, a[2] / length];
};
