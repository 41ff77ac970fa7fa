import { carryOn } from '../hand/rigid.js';
import type { Mutable } from '../mutable.js';

/**
 * Where one tracker was of late, and so where it is at any time near now: between poses by interpolation, beyond the
 * newest by its velocity. Nothing is allocated after it is made, but for what a jump or a report costs.
 */
export interface PoseTrack {
  /** Time of the newest pose, µs; -Infinity before the first. */
  readonly newestUs: number;
  /** It did not jump of late. */
  readonly trusted: boolean;
  /** Usual time between poses, µs; 0 until there were several. */
  readonly periodUs: number;
  /** How far a pose is from where its neighbours put it, rms, m: noise, not motion. */
  readonly jitterM: number;
  /**
   * @param pose [x, y, z, qx, qy, qz, qw], unit quaternion
   * @returns how far it jumped, m or radians whichever is the more; 0: it goes on from the last; NaN: it is older
   */
  add(timeUs: number, pose: ArrayLike<number>): number;
  /** Writes pose and velocity (m/s, rad/s, world axes) at a time. @returns false: nothing is known */
  at(timeUs: number, pose: Float64Array, velocity?: Float64Array): boolean;
  forget(): void;
}

const SIZE = 64;
const STRIDE = 7;
/** Beyond the newest pose, it is carried on for so long at most. */
const CARRIED_US = 60_000;
/** Velocities are taken over this time: less is noise, more is late. */
const VELOCITY_US = 30_000;
/** Faster than any hand: a jump. Common practice. */
const JUMP_M = 0.3;
const FASTEST_M_S = 10;
const JUMP_RAD = 1.2;
const FASTEST_RAD_S = 35;
/** Poses that go on from one another after a jump, before it is trusted again. */
const STEADY = 3;
/** Poses farther apart say nothing of how it moves. */
const LONGEST_GAP_US = 250_000;

export function createPoseTrack(): PoseTrack {
  const times = new Float64Array(SIZE);
  const poses = new Float64Array(SIZE * STRIDE);
  const early = new Float64Array(STRIDE);
  let count = 0;
  let steady = STEADY;
  let periodUs = 0;
  let jitter = 0;

  const slot = (back: number): number => (count - 1 - back + SIZE * 2) % SIZE;
  const kept = (): number => Math.min(count, SIZE);
  const newest = (): number => (count === 0 ? Number.NEGATIVE_INFINITY : times[slot(0)]);

  function forget(): void {
    count = 0;
    periodUs = 0;
    jitter = 0;
    tell();
  }

  function tell(): void {
    track.newestUs = newest();
    track.trusted = count > 0 && steady >= STEADY;
    track.periodUs = periodUs;
    track.jitterM = Math.sqrt(jitter);
  }

  /** How far beyond what a hand can do, 0 if not. */
  function jumped(timeUs: number, pose: ArrayLike<number>): number {
    const last = slot(0) * STRIDE;
    const passedS = (timeUs - times[slot(0)]) / 1e6;
    const far = Math.hypot(pose[0] - poses[last], pose[1] - poses[last + 1], pose[2] - poses[last + 2]);
    if (far > JUMP_M + FASTEST_M_S * passedS) return far;
    const dot = Math.abs(
      pose[3] * poses[last + 3] +
        pose[4] * poses[last + 4] +
        pose[5] * poses[last + 5] +
        pose[6] * poses[last + 6],
    );
    const turned = 2 * Math.acos(Math.min(1, dot));
    return turned > JUMP_RAD + FASTEST_RAD_S * passedS ? turned : 0;
  }

  function store(timeUs: number, pose: ArrayLike<number>): void {
    count = count >= 2 * SIZE ? count - SIZE + 1 : count + 1;
    const at = slot(0);
    times[at] = timeUs;
    const last = slot(1) * STRIDE;
    let dot = 0;
    for (let k = 0; k < STRIDE; k++) {
      poses[at * STRIDE + k] = pose[k];
      if (k >= 3) dot += pose[k] * poses[last + k];
    }
    // One sign of the quaternion all along, so that what lies between two needs no thought.
    if (count > 1 && dot < 0) for (let k = 3; k < STRIDE; k++) poses[at * STRIDE + k] *= -1;
  }

  /** What the middle of three poses is off the line through its neighbours, followed. */
  function follow(): void {
    const [a, b, c] = [slot(2), slot(1), slot(0)];
    const gapUs = times[c] - times[b];
    periodUs = periodUs === 0 ? gapUs : periodUs + (gapUs - periodUs) / 8;
    if (count < 3) return;
    const part = (times[b] - times[a]) / (times[c] - times[a]);
    let square = 0;
    for (let k = 0; k < 3; k++) {
      const [x, y, z] = [poses[a * STRIDE + k], poses[b * STRIDE + k], poses[c * STRIDE + k]];
      square += (y - x - part * (z - x)) ** 2;
    }
    // Noise of the middle one and of its neighbours, three coordinates: 1.5 times one variance each.
    jitter += (square / 1.5 - jitter) / 32;
  }

  /** Between two of the poses kept. */
  function between(timeUs: number, out: Float64Array): void {
    let back = 0;
    const most = kept() - 1;
    while (back < most && times[slot(back)] > timeUs) back++;
    const from = slot(back);
    const to = slot(Math.max(0, back - 1));
    const spanUs = times[to] - times[from];
    const part = spanUs > 0 ? Math.min(1, Math.max(0, (timeUs - times[from]) / spanUs)) : 0;
    for (let k = 0; k < 3; k++) {
      const start = poses[from * STRIDE + k];
      out[k] = start + part * (poses[to * STRIDE + k] - start);
    }
    blend(poses, from * STRIDE + 3, to * STRIDE + 3, part, out);
  }

  const track: Mutable<PoseTrack> = {
    newestUs: Number.NEGATIVE_INFINITY,
    trusted: false,
    periodUs: 0,
    jitterM: 0,
    forget,
    add(timeUs, pose) {
      if (count > 0) {
        if (timeUs < newest()) return Number.NaN;
        if (timeUs === newest()) count--;
      }
      const far = count > 0 ? jumped(timeUs, pose) : 0;
      if (far > 0) {
        forget();
        steady = 0;
      }
      store(timeUs, pose);
      if (steady < STEADY) steady++;
      if (count > 1) follow();
      tell();
      return far;
    },
    at(timeUs, pose, velocity) {
      velocity?.fill(0);
      if (count === 0) return false;
      const newestUs = newest();
      const seenUs = Math.min(timeUs, newestUs);
      between(seenUs, pose);
      const fromUs = Math.max(seenUs - VELOCITY_US, times[slot(kept() - 1)]);
      const spanS = (seenUs - fromUs) / 1e6;
      const known = spanS > 0 && kept() > 1 && periodUs < LONGEST_GAP_US;
      if (!known) return true;
      const aheadS = Math.min(CARRIED_US, Math.max(0, timeUs - newestUs)) / 1e6;
      if (aheadS === 0 && !velocity) return true;
      between(fromUs, early);
      // The turn from the early to the late one, in the world: late . early^-1.
      const dx = pose[3] * early[6] - pose[6] * early[3] - pose[4] * early[5] + pose[5] * early[4];
      const dy = pose[4] * early[6] - pose[6] * early[4] - pose[5] * early[3] + pose[3] * early[5];
      const dz = pose[5] * early[6] - pose[6] * early[5] - pose[3] * early[4] + pose[4] * early[3];
      const dw = pose[3] * early[3] + pose[4] * early[4] + pose[5] * early[5] + pose[6] * early[6];
      const s = Math.hypot(dx, dy, dz);
      const scale = (s < 1e-9 ? 2 : (2 * Math.atan2(s, dw)) / s) / spanS;
      const vx = (pose[0] - early[0]) / spanS;
      const vy = (pose[1] - early[1]) / spanS;
      const vz = (pose[2] - early[2]) / spanS;
      if (velocity) {
        velocity[0] = vx;
        velocity[1] = vy;
        velocity[2] = vz;
        velocity[3] = scale * dx;
        velocity[4] = scale * dy;
        velocity[5] = scale * dz;
      }
      if (aheadS > 0) {
        carryOn(
          pose,
          vx * aheadS,
          vy * aheadS,
          vz * aheadS,
          scale * dx * aheadS,
          scale * dy * aheadS,
          scale * dz * aheadS,
        );
      }
      return true;
    },
  };
  return track;
}

/** Slerp of two quaternions of one sign (Shoemake, SIGGRAPH 1985). */
function blend(poses: Float64Array, a: number, b: number, part: number, out: Float64Array): void {
  let dot = 0;
  for (let k = 0; k < 4; k++) dot += poses[a + k] * poses[b + k];
  let from = 1 - part;
  let to = part;
  if (dot < 0.999_999) {
    const angle = Math.acos(Math.min(1, Math.max(-1, dot)));
    const s = Math.sin(angle);
    from = Math.sin((1 - part) * angle) / s;
    to = Math.sin(part * angle) / s;
  }
  let square = 0;
  for (let k = 0; k < 4; k++) {
    const value = from * poses[a + k] + to * poses[b + k];
    out[3 + k] = value;
    square += value * value;
  }
  const length = Math.sqrt(square);
  for (let k = 3; k < 7; k++) out[k] /= length;
}
