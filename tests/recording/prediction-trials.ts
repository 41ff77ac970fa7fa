import { type HandSide, JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { openSession } from '../../src/recording/session.js';

/** Velocities and predictions of a session against what came after. */

/** Times ahead that are tried, ms. */
const AHEAD_MS = [20, 50] as const;
export const PERCENTILES = [50, 90, 95, 99, 100] as const;
/** Palm, wrist and the metacarpals of index and middle finger stand still in the wrist's frame. */
export const MOVING_JOINTS = Array.from({ length: JOINT_COUNT }, (_, joint) => joint).filter(
  (joint) => ![0, 1, 2, 6, 7, 11, 12, 16, 21].includes(joint),
);
/** Farther apart, samples were lost: nobody foresees that. */
const GAP_US = 35_000;
const MOVING_M_PER_S = 0.1;

export interface Sample {
  timeUs: number;
  valid: boolean;
  poses: Float64Array;
  velocities: Float64Array;
  /** By AHEAD_MS. */
  predicted: Float64Array[];
}

export function trackSession(file: string): Map<HandSide, Sample[]> {
  const session = openSession(file);
  const tracks = new Map<HandSide, Sample[]>();
  const hands = createOfflineHands(session, (hand, { timeUs, valid, poses, velocities }) => {
    const predicted = AHEAD_MS.map((ms) => {
      const ahead = new Float64Array(poses.length);
      hands.predict(hand, ms / 1000, ahead);
      return ahead;
    });
    const track = tracks.get(hand) ?? [];
    tracks.set(hand, track);
    track.push({ timeUs, valid, poses: poses.slice(), velocities: velocities.slice(), predicted });
  });
  session.visit(hands.visitor);
  session.close();
  return tracks;
}

const apart = (a: ArrayLike<number>, b: ArrayLike<number>, joint: number): number => {
  const at = joint * POSE_STRIDE;
  return Math.hypot(a[at] - b[at], a[at + 1] - b[at + 1], a[at + 2] - b[at + 2]);
};

const percentile = (sorted: readonly number[], p: number): number =>
  sorted.length === 0 ? 0 : sorted[Math.min(sorted.length - 1, Math.floor((sorted.length * p) / 100))];

export function judgePrediction(track: readonly Sample[]) {
  return {
    velocities: MOVING_JOINTS.map((joint) => judgeVelocities(track, joint)),
    ahead: AHEAD_MS.map((ms, k) => ({
      ms,
      joints: MOVING_JOINTS.map((joint) => judgeAhead(track, joint, ms, k)),
    })),
  };
}

/** Against the central difference over the neighbouring samples; shares of it. */
function judgeVelocities(track: readonly Sample[], joint: number) {
  let squares = 0;
  let errors = 0;
  const shares: number[] = [];
  for (let i = 1; i + 1 < track.length; i++) {
    const [before, now, after] = track.slice(i - 1, i + 2);
    if (!before.valid || !now.valid || !after.valid || after.timeUs - before.timeUs > GAP_US) continue;
    let speed2 = 0;
    let error2 = 0;
    for (let k = 0; k < 3; k++) {
      const at = joint * POSE_STRIDE + k;
      const central = ((after.poses[at] - before.poses[at]) / (after.timeUs - before.timeUs)) * 1e6;
      speed2 += central ** 2;
      error2 += (now.velocities[joint * VELOCITY_STRIDE + k] - central) ** 2;
    }
    squares += speed2;
    errors += error2;
    if (speed2 > MOVING_M_PER_S ** 2) shares.push(Math.sqrt(error2 / speed2));
  }
  shares.sort((a, b) => a - b);
  return {
    rms: squares > 0 ? Math.sqrt(errors / squares) : 0,
    median: percentile(shares, 50),
    p90: percentile(shares, 90),
  };
}

/** Errors of the pose predicted and of the pose held, m, by PERCENTILES. */
function judgeAhead(track: readonly Sample[], joint: number, ms: number, k: number) {
  const held: number[] = [];
  const predicted: number[] = [];
  let later = 0;
  for (let i = 0; i < track.length; i++) {
    const dueUs = track[i].timeUs + ms * 1000;
    while (later < track.length && track[later].timeUs < dueUs) later++;
    if (later === track.length) break;
    const [a, b] = [track[Math.max(later - 1, 0)], track[later]];
    const whole = track.slice(i, later + 1);
    if (whole.some((s, n) => !s.valid || (n > 0 && s.timeUs - whole[n - 1].timeUs > GAP_US / 2))) continue;
    const t = (dueUs - a.timeUs) / (b.timeUs - a.timeUs);
    const then = a.poses.map((value, n) => value + t * (b.poses[n] - value));
    held.push(apart(track[i].poses, then, joint));
    predicted.push(apart(track[i].predicted[k], then, joint));
  }
  held.sort((x, y) => x - y);
  predicted.sort((x, y) => x - y);
  return {
    held: PERCENTILES.map((p) => percentile(held, p)),
    predicted: PERCENTILES.map((p) => percentile(predicted, p)),
  };
}
