import type { FitStore } from '../config/fit-file.js';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import type { HandFrame } from '../glove/view.js';
import { type HandSide, JOINT_COUNT, JOINT_NAMES, POSE_STRIDE } from '../hand/joints.js';
import { decodeJoints, type JointsRecord } from '../stream/joints-record.js';
import { createOfflineHands } from './offline.js';
import type { Session, SessionVisitor } from './session.js';

/**
 * Compares the joints of a session with those that today's code computes, or those of its own profile with those
 * of another: a regression test for gloves.
 */
export interface Comparison {
  /** What the new joints were compared with. */
  against: 'recorded joints' | 'the recorded profile';
  hands: HandComparison[];
}

export interface HandComparison {
  hand: HandSide;
  /** Pairs of poses. */
  frames: number;
  /** Poses that only one of the two has. */
  unmatched: number;
  /** Poses whose validity or finger states differ. */
  statesDiffer: number;
  /** Greatest difference of each joint in joint order: mm and degrees. */
  joints: { name: string; distanceMm: number; angleDeg: number; atS: number }[];
  maxDistanceMm: number;
  maxAngleDeg: number;
}

/**
 * @param profile of the new joints; the recorded one when undefined, which needs recorded joints
 * @param fits of that profile; the recorded ones go with the recorded profile
 * @param fromS poses before it, in seconds from the start, are computed but not compared: filters of a recording that
 *   began while the glove was running had a past that is not in it
 */
export function compareSession(session: Session, profile?: Profile, fits?: FitStore, fromS = 0): Comparison {
  const recorded = session.head.joints;
  if (!recorded && !profile) {
    throw new TautlineError(
      'usage',
      `${session.file.path}: no joints were recorded, so there is nothing to compare with.`,
      'Record with --joints, or name a changed profile with --profile.',
    );
  }
  const results = new Map<HandSide, ReturnType<typeof createHandComparison>>();
  const resultOf = (hand: HandSide) => {
    let found = results.get(hand);
    if (!found) {
      found = createHandComparison(hand, fromS);
      results.set(hand, found);
    }
    return found;
  };
  let nowS = 0;
  const old: SessionVisitor[] = [];
  const neu = createOfflineHands(session, (hand, frame) => resultOf(hand).neu(asPose(frame)), profile, fits);
  if (!recorded) {
    old.push(createOfflineHands(session, (hand, frame) => resultOf(hand).old(asPose(frame), nowS)).visitor);
  }
  const visitors = [neu.visitor, ...old];
  session.visit({
    glove: (hand, timeUs, body) => {
      for (const visitor of visitors) visitor.glove?.(hand, timeUs, body);
    },
    fits: (hand, timeUs, body) => {
      for (const visitor of visitors) visitor.fits?.(hand, timeUs, body);
    },
    request: (hand, timeUs, body) => {
      for (const visitor of visitors) visitor.request?.(hand, timeUs, body);
    },
    status(hand, timeUs, body) {
      // That the recording service ended says nothing about the glove.
      if (body.state === 'closed') return;
      nowS = (timeUs - session.startUs) / 1e6;
      for (const visitor of visitors) visitor.status?.(hand, timeUs, body);
    },
    sent: (hand, timeUs, bytes) => {
      for (const visitor of visitors) visitor.sent?.(hand, timeUs, bytes);
    },
    received(hand, timeUs, bytes) {
      nowS = (timeUs - session.startUs) / 1e6;
      resultOf(hand).next(nowS);
      for (const visitor of visitors) visitor.received?.(hand, timeUs, bytes);
    },
    ...(recorded
      ? {
          joints(hand: HandSide, _: number, bytes: Uint8Array) {
            try {
              resultOf(hand).old(fromRecord(decodeJoints(bytes)), nowS);
            } catch {
              session.damage.messages++;
            }
          },
        }
      : {}),
  });
  return {
    against: recorded ? 'recorded joints' : 'the recorded profile',
    hands: [...results.values()].map(({ end }) => end()),
  };
}

interface Pose {
  poses: Float32Array;
  states: string;
  space: 'wrist' | 'world';
}

/** In float32, as poses are recorded: equal joints are then equal bits. */
const asPose = ({ poses, valid, fingerStates, space }: HandFrame): Pose => ({
  poses: Float32Array.from(poses),
  states: `${valid} ${fingerStates.join(',')}`,
  space,
});

const STATES = ['invalid', 'inferred', 'tracked'];
const fromRecord = ({ poses, valid, fingers, space }: JointsRecord): Pose => ({
  poses: poses.slice(),
  states: `${valid} ${Object.values(fingers).map((state) => STATES.indexOf(state))}`,
  space,
});

function createHandComparison(hand: HandSide, fromS: number) {
  /** Joints that the newest bytes gave, and that no old ones were held against yet. */
  let waiting: Pose[] = [];
  let newest: Pose | undefined;
  let frames = 0;
  let unmatched = 0;
  let statesDiffer = 0;
  const distance = new Float64Array(JOINT_COUNT);
  const angle = new Float64Array(JOINT_COUNT);
  const at = new Float64Array(JOINT_COUNT);
  return {
    next(nowS: number) {
      if (nowS >= fromS) unmatched += waiting.length;
      waiting = [];
    },
    neu(pose: Pose) {
      waiting.push(pose);
    },
    old(pose: Pose, atS: number) {
      newest = waiting.shift();
      if (atS < fromS) return;
      if (!newest) {
        unmatched++;
        return;
      }
      frames++;
      if (newest.states !== pose.states) statesDiffer++;
      // The two may disagree for a pose about whether an app knew the wrist.
      const a = pose.space === newest.space ? pose.poses : besideWrist(pose.poses);
      const b = pose.space === newest.space ? newest.poses : besideWrist(newest.poses);
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        const i = joint * POSE_STRIDE;
        const mm = 1000 * Math.hypot(a[i] - b[i], a[i + 1] - b[i + 1], a[i + 2] - b[i + 2]);
        const degrees = turnBetween(a, b, i + 3);
        if (mm > distance[joint] || degrees > angle[joint]) at[joint] = atS;
        if (mm > distance[joint]) distance[joint] = mm;
        if (degrees > angle[joint]) angle[joint] = degrees;
      }
    },
    end(): HandComparison {
      unmatched += waiting.length;
      return {
        hand,
        frames,
        unmatched,
        statesDiffer,
        joints: JOINT_NAMES.map((name, joint) => ({
          name,
          distanceMm: distance[joint],
          angleDeg: angle[joint],
          atS: at[joint],
        })),
        maxDistanceMm: Math.max(...distance),
        maxAngleDeg: Math.max(...angle),
      };
    },
  };
}

/** Degrees between two unit quaternions; 0 for the same bits. */
function turnBetween(a: Float32Array, b: Float32Array, i: number): number {
  let near = 0;
  let far = 0;
  for (let k = 0; k < 4; k++) {
    near += (a[i + k] - b[i + k]) ** 2;
    far += (a[i + k] + b[i + k]) ** 2;
  }
  // The chord of the half angle; of q and -q, which are one turn, the nearer counts.
  return (4 * Math.asin(Math.min(1, Math.sqrt(Math.min(near, far)) / 2)) * 180) / Math.PI;
}

const WRIST = JOINT_NAMES.indexOf('wrist') * POSE_STRIDE;

/** The same poses in the frame of the wrist. */
function besideWrist(poses: Float32Array): Float32Array {
  const out = Float32Array.from(poses);
  const [wx, wy, wz, qx, qy, qz, qw] = poses.subarray(WRIST, WRIST + 7);
  for (let i = 0; i < poses.length; i += POSE_STRIDE) {
    const [x, y, z] = [poses[i] - wx, poses[i + 1] - wy, poses[i + 2] - wz];
    // v' = v + 2w(u × v) + 2u × (u × v), with the conjugate: u = -q.
    const tx = -2 * (qy * z - qz * y);
    const ty = -2 * (qz * x - qx * z);
    const tz = -2 * (qx * y - qy * x);
    out[i] = x + qw * tx - (qy * tz - qz * ty);
    out[i + 1] = y + qw * ty - (qz * tx - qx * tz);
    out[i + 2] = z + qw * tz - (qx * ty - qy * tx);
    const [bx, by, bz, bw] = poses.subarray(i + 3, i + 7);
    out[i + 3] = qw * bx - qx * bw - qy * bz + qz * by;
    out[i + 4] = qw * by + qx * bz - qy * bw - qz * bx;
    out[i + 5] = qw * bz - qx * by + qy * bx - qz * bw;
    out[i + 6] = qw * bw + qx * bx + qy * by + qz * bz;
  }
  return out;
}
