import { JOINT_COUNT, JOINT_NAMES, POSE_STRIDE, VELOCITY_STRIDE } from '../hand/joints.js';
import { composePoses } from '../hand/rigid.js';

/*
 * When a thing is grabbed, held and let go, and where it is meanwhile. The clients in C#, C++ and Python do the same, by
 * the same vectors (`grabs` in tests/client/vectors.json). Pure: time comes in, nothing is sent, nothing is allocated.
 *
 *   away ── the hand comes near ──► near ── the service says `carried` ──► held
 *     ◄─── it goes away, or is lost ──┘ ◄── not carried any more, dropped ──┘
 *
 * While near, the thing is where the app says, and it is to be touched there. While held, it follows the palm, and is to
 * be touched in the palm's frame, where it stands still: nothing need be sent as the hand moves.
 */

/** The thing is touched from when a joint is this near to its bounding sphere, m. */
export const NEAR_M = 0.1;
/** And until every joint is this far from it, m. */
export const AWAY_M = 0.15;
/** How long a thing stays held that is not carried, while two fingers or more are still at it, ms. */
export const SLIPS_AFTER_MS = 100;
/** A hand that gives no new pose for so long is lost, ms. */
export const LOST_AFTER_MS = 250;

export type GrabState = 'away' | 'near' | 'held';
export type GrabEvent = 'grabbed' | 'letGo';

/** What is known of the hand in one frame. */
export interface GrabbingHand {
  readonly valid: boolean;
  readonly seq: number;
  /** 26 × [x, y, z, qx, qy, qz, qw, radius]. */
  readonly poses: ArrayLike<number>;
  /** 26 × [vx, vy, vz, wx, wy, wz]. */
  readonly velocities: ArrayLike<number> | undefined;
}

/** What the service says of the touch: part of `gestures.touches`. */
export interface GrabReport {
  /** Two fingers press against each other through the thing. */
  carried: boolean;
  /** How many fingers are at its surface. */
  fingers: number;
}

const PALM = JOINT_NAMES.indexOf('palm');

export class GrabCore {
  state: GrabState = 'away';
  /** Where the thing is: as it was given, or with the hand. x, y, z, qx, qy, qz, qw in the space of the hand's poses. */
  readonly object = new Float64Array(7);
  /** While held: where it is in the palm's frame. */
  readonly inPalm = new Float64Array(7);
  /** What it had when it was last let go, m/s and rad/s; zeros where the hand was lost or velocities are not known. */
  readonly velocity = new Float64Array(3);
  readonly angularVelocity = new Float64Array(3);
  readonly #palm = new Float64Array(7);
  #seq = -1;
  #seenMs = Number.NEGATIVE_INFINITY;
  /** Since when it has not been carried; NaN while it is. */
  #slipsMs = Number.NaN;
  #mustOpen = false;

  /** @param reach radius of a sphere around the thing's origin that encloses it, m */
  constructor(public reach: number) {}

  /** To be called once a frame. @param nowMs on any clock that does not go back. @returns what has happened */
  update(
    nowMs: number,
    hand: GrabbingHand | undefined,
    report: GrabReport,
    object: ArrayLike<number>,
  ): GrabEvent | undefined {
    if (hand !== undefined && hand.seq !== this.#seq) {
      this.#seq = hand.seq;
      this.#seenMs = nowMs;
    }
    if (hand === undefined || !hand.valid || nowMs - this.#seenMs > LOST_AFTER_MS) return this.#lose(object);
    for (let i = 0; i < 7; i++) this.#palm[i] = hand.poses[PALM * POSE_STRIDE + i];
    if (!report.carried) this.#mustOpen = false;
    if (this.state === 'held') return this.#follow(nowMs, hand, report);
    this.#take(object);
    const far = this.#distance(hand.poses);
    this.state = far < (this.state === 'near' ? AWAY_M : NEAR_M) ? 'near' : 'away';
    if (this.state === 'away' || !report.carried || this.#mustOpen) return undefined;
    intoFrame(this.#palm, this.object, this.inPalm);
    this.state = 'held';
    this.#slipsMs = Number.NaN;
    return 'grabbed';
  }

  /** Lets go for the app's own reasons: the hand has to open before it grabs again. */
  drop(): void {
    if (this.state === 'held') this.state = 'near';
    this.#mustOpen = true;
    this.velocity.fill(0);
    this.angularVelocity.fill(0);
  }

  #lose(object: ArrayLike<number>): GrabEvent | undefined {
    const held = this.state === 'held';
    // What is dropped stays where it was last.
    if (!held) this.#take(object);
    this.state = 'away';
    this.velocity.fill(0);
    this.angularVelocity.fill(0);
    return held ? 'letGo' : undefined;
  }

  #follow(nowMs: number, hand: GrabbingHand, report: GrabReport): GrabEvent | undefined {
    composePoses(this.#palm, this.inPalm, this.object);
    if (report.carried) {
      this.#slipsMs = Number.NaN;
      return undefined;
    }
    if (Number.isNaN(this.#slipsMs)) this.#slipsMs = nowMs;
    // One finger holds nothing. Two that have just lost their opposition may find it again.
    if (report.fingers >= 2 && nowMs - this.#slipsMs < SLIPS_AFTER_MS) return undefined;
    this.state = 'near';
    this.#throw(hand.velocities);
    return 'letGo';
  }

  /** As a part of the palm: v = v_palm + w × r. */
  #throw(velocities: ArrayLike<number> | undefined): void {
    const at = PALM * VELOCITY_STRIDE;
    const { velocity: v, angularVelocity: w, object } = this;
    for (let i = 0; i < 3; i++) {
      v[i] = velocities?.[at + i] ?? 0;
      w[i] = velocities?.[at + 3 + i] ?? 0;
    }
    const rx = object[0] - this.#palm[0];
    const ry = object[1] - this.#palm[1];
    const rz = object[2] - this.#palm[2];
    v[0] += w[1] * rz - w[2] * ry;
    v[1] += w[2] * rx - w[0] * rz;
    v[2] += w[0] * ry - w[1] * rx;
  }

  #take(object: ArrayLike<number>): void {
    for (let i = 0; i < 7; i++) this.object[i] = object[i];
  }

  /** From the nearest joint to the sphere around the thing, m; negative inside. */
  #distance(poses: ArrayLike<number>): number {
    const x = this.object[0];
    const y = this.object[1];
    const z = this.object[2];
    let least = Number.POSITIVE_INFINITY;
    for (let at = 0; at < JOINT_COUNT * POSE_STRIDE; at += POSE_STRIDE) {
      const square = (poses[at] - x) ** 2 + (poses[at + 1] - y) ** 2 + (poses[at + 2] - z) ** 2;
      if (square < least) least = square;
    }
    return Math.sqrt(least) - this.reach;
  }
}

/** out = frame⁻¹ · pose */
function intoFrame(frame: Float64Array, pose: Float64Array, out: Float64Array): void {
  const length = Math.hypot(frame[3], frame[4], frame[5], frame[6]);
  const scale = length > 0 ? 1 / length : 0;
  const qx = -frame[3] * scale;
  const qy = -frame[4] * scale;
  const qz = -frame[5] * scale;
  const qw = length > 0 ? frame[6] * scale : 1;
  const x = pose[0] - frame[0];
  const y = pose[1] - frame[1];
  const z = pose[2] - frame[2];
  const tx = 2 * (qy * z - qz * y);
  const ty = 2 * (qz * x - qx * z);
  const tz = 2 * (qx * y - qy * x);
  const bx = pose[3];
  const by = pose[4];
  const bz = pose[5];
  const bw = pose[6];
  out[0] = x + qw * tx + qy * tz - qz * ty;
  out[1] = y + qw * ty + qz * tx - qx * tz;
  out[2] = z + qw * tz + qx * ty - qy * tx;
  out[3] = qw * bx + qx * bw + qy * bz - qz * by;
  out[4] = qw * by + qy * bw + qz * bx - qx * bz;
  out[5] = qw * bz + qz * bw + qx * by - qy * bx;
  out[6] = qw * bw - qx * bx - qy * by - qz * bz;
}
