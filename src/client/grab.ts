import type { HandSide } from '../hand/joints.js';
import type { Shape } from '../protocol/messages.js';
import type { Client } from './client.js';
import type { ClientError } from './errors.js';
import { GrabCore, type GrabEvent, type GrabReport, type GrabState } from './grab-core.js';
import type { Hold, HoldRequest } from './hold.js';
import type { HandPose } from './pose.js';

/** What is to be grabbed, by which hand, and how it feels. */
export type GrabOptions = Pick<
  HoldRequest,
  'hand' | 'shape' | 'effort' | 'stiffness' | 'friction' | 'texture'
>;
/** Position x, y, z (m) and unit quaternion x, y, z, w, to be written to. */
export type WritablePose = Float64Array | Float32Array | number[];
export type { GrabEvent, GrabState };

/** Changed by less than this, a thing is as it was: m, parts of a turn, m/s, rad/s. */
const STILL = 1e-5;

/**
 * One thing that one hand can take: put it into each frame, and it follows the hand while it is held.
 *
 *   const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.035 } });
 *   function frame() {
 *     const event = grab.update(ball);               // ball: [x, y, z, qx, qy, qz, qw]; written to while it is held
 *     if (event === 'letGo') fly(grab.velocity);
 *     if (grab.state !== 'held') physics(ball);
 *   }
 *
 * It is felt as soon as the hand comes near and the wearer has armed the glove, and it can be taken while the glove is
 * disarmed, too, without force. It is let go when the fingers open, and when the hand or the connection is lost.
 */
export class Grab {
  readonly hand: HandSide;
  readonly #client: Client;
  readonly #core: GrabCore;
  readonly #options: GrabOptions;
  readonly #report: GrabReport = { carried: false, fingers: 0 };
  readonly #off: () => void;
  #hold: Hold<Partial<HoldRequest>> | undefined;
  #space: HoldRequest['space'];
  #effort = 0;
  /** Pose, then linear and angular velocity. */
  readonly #sent = new Float64Array(13);
  readonly #asks = new Float64Array(13);
  #moves = false;

  constructor(client: Client, options: GrabOptions) {
    this.#client = client;
    this.#options = options;
    this.hand = options.hand;
    this.#core = new GrabCore(reachOf(options.shape));
    this.#off = client.on('gestures', ({ hand, touches }) => {
      if (hand !== this.hand) return;
      const layer = this.#hold?.layer;
      const by = client.welcome?.app;
      const mine = touches.find((touch) => touch.layer === layer && touch.by === by);
      this.#report.carried = mine?.carried ?? false;
      this.#report.fingers = mine?.fingers.length ?? 0;
    });
  }

  /** away: out of reach. near: it is touched. held: it follows the hand. */
  get state(): GrabState {
    return this.#core.state;
  }
  /** m/s and rad/s that it had when it was last let go; zeros when the hand was lost. */
  get velocity(): Float64Array {
    return this.#core.velocity;
  }
  get angularVelocity(): Float64Array {
    return this.#core.angularVelocity;
  }
  /** Why it is not felt now: the glove is disarmed, say. */
  get error(): ClientError | undefined {
    return this.#hold?.error;
  }
  /** How many fingers are at it. */
  get fingers(): number {
    return this.#report.fingers;
  }

  /**
   * To be called once a frame.
   * @param object where the thing is, in the space of the hand's poses; is written to while it is held
   * @param pose the hand that is shown: what `client.poseAt` gave, or the newest
   * @param nowMs on the clock of `performance.now()`
   */
  update(
    object: WritablePose,
    pose: HandPose | undefined = this.#client.pose(this.hand),
    nowMs: number = performance.now(),
  ): GrabEvent | undefined {
    const core = this.#core;
    const before = core.state;
    const event = core.update(nowMs, pose, this.#report, object);
    if (before === 'held') for (let i = 0; i < 7; i++) object[i] = core.object[i];
    this.#touch(pose?.space ?? 'wrist');
    return event;
  }

  /**
   * How the thing moves while it is not held, m/s and rad/s in the space of its pose: felt where it is rather than where it
   * was said to be last. For things that fly; to be called whenever that changes.
   */
  setVelocity(
    linear: readonly [number, number, number],
    angular: readonly [number, number, number] = [0, 0, 0],
  ): void {
    this.#moves = true;
    this.#asks.set(linear, 7);
    this.#asks.set(angular, 10);
  }

  /** Lets go for the app's own reasons; the hand has to open before it takes the thing again. */
  drop(): void {
    this.#core.drop();
  }

  /** The thing is gone. */
  end(): void {
    this.#core.drop();
    this.#off();
    this.#release();
  }

  #release(): void {
    this.#hold?.release();
    this.#hold = undefined;
    this.#report.carried = false;
    this.#report.fingers = 0;
  }

  #touch(spaceOfHand: 'wrist' | 'world'): void {
    const { state, object, inPalm } = this.#core;
    if (state === 'away') {
      if (this.#hold) this.#release();
      return;
    }
    const held = state === 'held';
    const space = held ? 'palm' : spaceOfHand;
    // Without force it is taken also while the glove is disarmed, for the contacts that it gives.
    const effort = this.#client.isArmed(this.hand) ? (this.#options.effort ?? 1) : 0;
    const asks = this.#asks;
    asks.set(held ? inPalm : object);
    // In the hand it rests.
    if (held) asks.fill(0, 7);
    const same = space === this.#space && effort === this.#effort && !moved(asks, this.#sent);
    if (this.#hold && same) return;
    this.#space = space;
    this.#effort = effort;
    this.#ask();
  }

  // Apart from #touch: its little functions would be garbage at every frame, also when nothing has changed.
  #ask(): void {
    const asks = this.#asks;
    this.#sent.set(asks);
    const three = (from: number): [number, number, number] => [asks[from], asks[from + 1], asks[from + 2]];
    const changes = {
      space: this.#space,
      effort: this.#effort,
      position: three(0),
      orientation: [asks[3], asks[4], asks[5], asks[6]] as [number, number, number, number],
      ...(this.#moves ? { linearVelocity: three(7), angularVelocity: three(10) } : {}),
    };
    if (this.#hold) this.#hold.move(changes);
    else this.#hold = this.#client.hold({ ...this.#options, ...changes });
  }
}

function moved(a: Float64Array, b: Float64Array): boolean {
  for (let i = 0; i < a.length; i++) if (!(Math.abs(a[i] - b[i]) <= STILL)) return true;
  return false;
}

/** Radius of a sphere around the origin of a shape that encloses it, m; infinite for a half-space. */
export function reachOf(shape: Shape): number {
  switch (shape.kind) {
    case 'sphere':
      return shape.radius;
    case 'box':
      return Math.hypot(...shape.size) / 2;
    case 'capsule':
      return shape.radius + shape.length / 2;
    case 'cylinder':
      return Math.hypot(shape.radius, shape.length / 2);
    case 'halfSpace':
      return Number.POSITIVE_INFINITY;
    case 'hull':
      return Math.max(...shape.points.map((point) => Math.hypot(...point)));
    case 'compound':
      return Math.max(
        ...shape.parts.map(
          ({ shape: part, position = [0, 0, 0] }) => Math.hypot(...position) + reachOf(part),
        ),
      );
  }
}
