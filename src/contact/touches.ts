import type { ClosingProfile } from '../hand/closing.js';
import type { DofArray } from '../hand/dofs.js';
import { FINGERS, PALM, POSE_STRIDE, WRIST } from '../hand/joints.js';
import type { NaturalMotion } from '../hand/natural-motion.js';
import { carryBy } from '../hand/rigid.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { AppMessageOf } from '../protocol/messages.js';
import { unitQuaternion } from '../protocol/quaternion.js';
import { type ClosingPath, createClosingPath, followPose } from './closing-path.js';
import { createFingerContact, type FingerContact, NO_STOP } from './finger-contact.js';
import { createForeseen, foresee } from './foreseen.js';
import { createGrasp, DEFAULT_FRICTION, type Grasp, updateGrasp } from './grasp.js';
import { THUMB } from './led-thumb.js';
import { forgetAll } from './memory.js';
import { compileParts, meetParts, type Part, placeParts, sameParts } from './parts.js';
import { type Placement, placeIn } from './placement.js';
import { isShapeFault, type ShapeFault, shapeFault } from './shapes.js';

/*
 * What a hand touches, and where each finger is to stop. The way through this folder:
 *
 *   app's `touch` ─ set() ─► Touch: convex parts, compiled once (parts.ts, shapes.ts, hull.ts), pose, time to live
 *                              │
 *   each sample ── solve() ────┤ followPose (closing-path.ts): the way each finger would close from its pose, and the
 *                              │    thumb as others will lead it (led-thumb.ts, foreseen.ts)
 *                              │ placeIn: the shape in the space of the poses (wrist, palm or world)
 *                              │ meetFinger (solver.ts): first contact of each finger with each part
 *                              │    └ boneDistance (bone.ts): least distance of a tapered capsule
 *                              │         └ signedDistance (shapes.ts, hull-distance.ts) of a point
 *                              ▼
 *   TouchContacts: per finger the contact with the smallest stop, and whose it is ─► resistance
 *
 * Nothing here decides on forces. A finger that is well inside a shape when the touch begins is not held by it
 * until it has opened as far as the surface.
 */

export type TouchRequest = AppMessageOf<'touch'>;

/** Most touches that one hand holds at a time, so that no app can make the frame loop late. */
export const MAX_TOUCHES = 16;
/** Most convex parts of all of them together. */
export const MAX_TOUCHED_PARTS = 48;

/**
 * Curl beyond the surface at which a finger is still held when a touch begins. Apps see an overlap only once it is
 * there: at 90 pictures a second, a hand closing in a quarter of a second is up to 0.044 further by then.
 */
export const LATE_BY = 0.045;

/** A finger that is beyond its stop and this far outside has not come there through the shape, metres. */
const PASSED_BY_M = 1e-3;
const DEFAULT_TTL_MS = 250;
const MAX_TTL_MS = 1000;

/** One thing that is touched. */
export interface Touch {
  readonly app: string;
  readonly layer: string;
  /** As last sent: effort, stiffness and texture are for others to read. */
  readonly request: TouchRequest;
  readonly expiresUs: number;
  /** False if the pose is in world space and the wrist's place in the world is not known: nothing is felt. */
  readonly placed: boolean;
  /** With each finger, in FINGERS order. */
  readonly contacts: readonly FingerContact[];
  /** Per finger: 1 if the touch may stop it; 0 if the finger began inside and has not come out yet; 2 not known. */
  readonly holds: Uint8Array;
  /** Which fingers are at it, and whether they would carry it. */
  readonly grasp: Grasp;
}

interface LiveTouch extends Touch {
  request: TouchRequest;
  expiresUs: number;
  placed: boolean;
  parts: readonly Part[];
  /** x, y, z, qx, qy, qz, qw in the frame of request.space. */
  readonly pose: Float64Array;
  /** m/s and rad/s in that frame; undefined: it rests. */
  velocity: Float64Array | undefined;
  /** When it was at `pose`. */
  posedUs: number;
  readonly placement: Placement;
  /** Per finger: 1 while it is at its stop or beyond, having come there the way that it closes. */
  readonly met: Uint8Array;
}

/** What the fingers meet. Reused by every solve. */
export interface TouchContacts {
  /** Curl at which each finger is to stop; NO_STOP if nothing is in its way. 5. */
  readonly stop: Float64Array;
  /** The contact of that stop, and the touch that it belongs to; undefined without a stop. 5 each. */
  readonly contact: (FingerContact | undefined)[];
  readonly by: (Touch | undefined)[];
  /** Per finger: 1 if it is at or in the surface of what stops it. */
  readonly touching: Uint8Array;
  /** Per finger: 1 if it is inside something that does not hold it, because it began there. */
  readonly waiting: Uint8Array;
}

const FINGER_COUNT = FINGERS.length;

export const createTouchContacts = (): TouchContacts => ({
  stop: new Float64Array(FINGER_COUNT).fill(NO_STOP),
  contact: new Array<FingerContact | undefined>(FINGER_COUNT).fill(undefined),
  by: new Array<Touch | undefined>(FINGER_COUNT).fill(undefined),
  touching: new Uint8Array(FINGER_COUNT),
  waiting: new Uint8Array(FINGER_COUNT),
});

export interface TouchLimits {
  /** Life of a touch that names none, ms. */
  readonly defaultTtlMs?: number;
  /** Longest life, ms. */
  readonly maxTtlMs?: number;
}

/** Refusal of a touch: code and one line. */
export type TouchFault = ShapeFault | { readonly code: 'tooMany'; readonly message: string };

/** The touches of one hand. */
export class Touches {
  #path: ClosingPath;
  readonly #foreseen = createForeseen();
  readonly #live: LiveTouch[] = [];
  #graspChanges = 0;
  readonly #defaultTtlMs: number;
  readonly #maxTtlMs: number;

  /** @param guide how other fingers lead the thumb; left out: they do not */
  constructor(skeleton: Skeleton, profile: ClosingProfile, limits: TouchLimits = {}, guide?: NaturalMotion) {
    this.#path = createClosingPath(skeleton, profile, guide);
    this.#defaultTtlMs = limits.defaultTtlMs ?? DEFAULT_TTL_MS;
    this.#maxTtlMs = limits.maxTtlMs ?? MAX_TTL_MS;
  }

  /** All that is touched now, in no order. */
  get live(): readonly Touch[] {
    return this.#live;
  }

  /** Counts the changes of what fingers are at and carry. */
  get graspChanges(): number {
    return this.#graspChanges;
  }

  /** Takes another hand, or another way of closing. Touches stay. */
  setHand(skeleton: Skeleton, profile: ClosingProfile, guide?: NaturalMotion): void {
    this.#path = createClosingPath(skeleton, profile, guide);
    for (const { parts } of this.#live) for (const { memory } of parts) forgetAll(memory);
  }

  /**
   * Begins a touch, or renews the one of the same app and layer. The shape is compiled only if it changed. A renewed
   * touch of the same kind of shape goes on, wherever it moved; another kind starts over.
   * @returns why not, if the shape is invalid; an earlier touch of that app and layer is then over
   */
  set(app: string, layer: string | undefined, request: TouchRequest, nowUs: number): TouchFault | undefined {
    const name = layer ?? '';
    let touch = this.#live.find((other) => other.app === app && other.layer === name);
    const fault = touch ? renew(touch, request) : undefined;
    if (fault) {
      this.drop(app, name);
      return fault;
    }
    if (!touch) {
      this.#expire(nowUs);
      if (this.#live.length >= MAX_TOUCHES) {
        return {
          code: 'tooMany',
          message: `A hand touches ${MAX_TOUCHES} things at most; release one or let it expire.`,
        };
      }
      const made = begin(app, name, request);
      if ('code' in made) return made;
      touch = made;
      this.#live.push(touch);
    }
    const wrong = setPose(touch.pose, request) ?? this.#tooManyParts();
    if (wrong) {
      this.drop(app, name);
      return wrong;
    }
    setVelocity(touch, request);
    touch.posedUs = nowUs;
    touch.request = request;
    touch.expiresUs = nowUs + Math.min(request.ttlMs ?? this.#defaultTtlMs, this.#maxTtlMs) * 1000;
    return undefined;
  }

  #tooManyParts(): TouchFault | undefined {
    const parts = this.#live.reduce((sum, touch) => sum + touch.parts.length, 0);
    if (parts <= MAX_TOUCHED_PARTS) return undefined;
    const message = `All that a hand touches has ${MAX_TOUCHED_PARTS} convex parts at most; release something or send fewer parts.`;
    return { code: 'tooMany', message };
  }

  /** Ends an app's touch of a layer, or all of its touches. */
  drop(app: string, layer?: string): void {
    for (let i = this.#live.length - 1; i >= 0; i--) {
      const touch = this.#live[i];
      if (touch.app === app && (layer === undefined || touch.layer === layer)) this.#remove(i);
    }
  }

  /** Ends every touch. */
  clear(): void {
    while (this.#live.length > 0) this.#remove(this.#live.length - 1);
  }

  /**
   * Finds where every finger is to stop.
   * @param nowUs touches that end before are dropped
   * @param dofs the hand's degrees of freedom now, radians
   * @param poses all joints, as forwardKinematics made them of `dofs`
   * @param space of the poses; touches in world space need `world`
   * @param out points and normals in it are in the same space
   * @param curls measured, thumb first, which stops are to be compared with; taken from `dofs` when absent
   * @param curlRates curl a second: where the other fingers go, they lead the thumb
   */
  solve(
    nowUs: number,
    dofs: DofArray,
    poses: Float64Array,
    space: 'wrist' | 'world',
    out: TouchContacts,
    curls?: ArrayLike<number>,
    curlRates?: ArrayLike<number>,
  ): void {
    this.#expire(nowUs);
    this.#foreseen.leads = false;
    if (curls && curlRates) foresee(this.#foreseen, curls, curlRates, out.stop);
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      out.stop[finger] = NO_STOP;
      out.contact[finger] = undefined;
      out.by[finger] = undefined;
      out.touching[finger] = 0;
      out.waiting[finger] = 0;
    }
    if (this.#live.length === 0) return;
    followPose(this.#path, dofs, poses, curls, this.#foreseen.leads ? this.#foreseen.curls : undefined);
    for (let i = 0; i < this.#live.length; i++) {
      const touch = this.#live[i];
      if (place(touch, poses, space, nowUs)) this.#meet(touch, poses, out);
      const { contacts, grasp, request } = touch;
      const placed = touch.placed ? contacts : NOWHERE;
      if (updateGrasp(grasp, placed, request.friction ?? DEFAULT_FRICTION)) this.#graspChanges++;
    }
  }

  #meet(touch: LiveTouch, poses: Float64Array, out: TouchContacts): void {
    const { parts, placement, contacts, holds, met } = touch;
    placeParts(parts, placement);
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const contact = contacts[finger];
      meetParts(this.#path, finger, poses, parts, contact);
      const { depth } = contact;
      const curl = this.#path.curl[finger];
      // Other fingers will lead the thumb to the surface: it is stopped where it is, and waits for it.
      if (
        finger === THUMB &&
        this.#foreseen.leads &&
        holds[finger] === 1 &&
        depth < 0 &&
        contact.stop < curl
      ) {
        contact.stop = curl;
      }
      const { stop } = contact;
      // The shape lies behind the finger, on a way that it has not come: it moved there, or other fingers led the thumb.
      const passed = stop < curl && depth < -PASSED_BY_M && met[finger] === 0;
      met[finger] = stop <= curl && !passed ? 1 : 0;
      if (!passed && (depth <= 0 || curl <= stop + (holds[finger] === BEGINS ? LATE_BY : 0))) {
        holds[finger] = 1;
      } else if (holds[finger] === BEGINS || passed) {
        holds[finger] = 0;
      }
      if (passed) continue;
      if (holds[finger] === 0) {
        out.waiting[finger] = 1;
      } else if (stop < out.stop[finger]) {
        out.stop[finger] = stop;
        out.contact[finger] = contact;
        out.by[finger] = touch;
        out.touching[finger] = depth >= 0 ? 1 : 0;
      }
    }
  }

  #expire(nowUs: number): void {
    for (let i = this.#live.length - 1; i >= 0; i--) {
      // Written so that a NaN expires.
      if (!(nowUs < this.#live[i].expiresUs)) this.#remove(i);
    }
  }

  #remove(i: number): void {
    if (this.#live[i].grasp.fingers.includes(1)) this.#graspChanges++;
    const last = this.#live.pop();
    if (last && i < this.#live.length) this.#live[i] = last;
  }
}

/** What is wrong with a touch in itself, whatever else is touched. */
export function touchFault(request: TouchRequest): ShapeFault | undefined {
  const parts = compileParts(request.shape);
  return isShapeFault(parts) ? parts : setPose(new Float64Array(7), request);
}

/** In `holds`: the touch has not been solved yet, or nobody knew where it is. */
const BEGINS = 2;

function begin(app: string, layer: string, request: TouchRequest): LiveTouch | ShapeFault {
  const parts = compileParts(request.shape);
  if (isShapeFault(parts)) return parts;
  return {
    app,
    layer,
    request,
    expiresUs: 0,
    placed: true,
    parts,
    pose: new Float64Array(7),
    velocity: undefined,
    posedUs: 0,
    placement: new Float64Array(12),
    contacts: FINGERS.map(createFingerContact),
    holds: new Uint8Array(FINGER_COUNT).fill(BEGINS),
    grasp: createGrasp(),
    met: new Uint8Array(FINGER_COUNT),
  };
}

function renew(touch: LiveTouch, request: TouchRequest): ShapeFault | undefined {
  const { shape } = touch.request;
  if (sameParts(shape, request.shape)) return undefined;
  const compiled = compileParts(request.shape, touch.parts);
  if (isShapeFault(compiled)) return compiled;
  touch.parts = compiled;
  if (shape.kind !== request.shape.kind) touch.holds.fill(BEGINS);
  return undefined;
}

function setPose(pose: Float64Array, request: TouchRequest): ShapeFault | undefined {
  const [x, y, z] = request.position ?? [0, 0, 0];
  const turn = unitQuaternion(request.orientation ?? [0, 0, 0, 1]);
  if (typeof turn === 'string') return shapeFault('/orientation', turn);
  pose[0] = x;
  pose[1] = y;
  pose[2] = z;
  pose.set(turn, 3);
  return undefined;
}

function setVelocity(touch: LiveTouch, { linearVelocity, angularVelocity }: TouchRequest): void {
  if (!linearVelocity && !angularVelocity) {
    touch.velocity = undefined;
    return;
  }
  touch.velocity ??= new Float64Array(6);
  touch.velocity.set(linearVelocity ?? STILL);
  touch.velocity.set(angularVelocity ?? STILL, 3);
}

const STILL = [0, 0, 0] as const;
/** An app that renews as it should does so sooner; one that does not leaves its shape there. */
const MOVES_ON_S = 0.1;
const moved = new Float64Array(7);

/** The pose of a shape now, in the frame of its request. */
function poseNow({ pose, velocity, posedUs }: LiveTouch, nowUs: number): Float64Array {
  if (!velocity) return pose;
  moved.set(pose);
  carryBy(moved, velocity, Math.min(MOVES_ON_S, Math.max(0, (nowUs - posedUs) / 1e6)));
  return moved;
}

const NOWHERE = FINGERS.map(createFingerContact);
const ORIGIN = [0, 0, 0, 0, 0, 0, 1] as const;

/** Brings a touch into the space of the poses. */
function place(touch: LiveTouch, poses: Float64Array, space: 'wrist' | 'world', nowUs: number): boolean {
  const of = touch.request.space ?? 'wrist';
  touch.placed = of !== 'world' || space === 'world';
  if (!touch.placed) {
    touch.holds.fill(BEGINS);
    return false;
  }
  const pose = poseNow(touch, nowUs);
  if (of === 'world') placeIn(touch.placement, ORIGIN, 0, pose);
  else placeIn(touch.placement, poses, (of === 'palm' ? PALM : WRIST) * POSE_STRIDE, pose);
  return true;
}
