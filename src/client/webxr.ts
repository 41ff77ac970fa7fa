import { type HandSide, JOINT_NAMES, type JointName, POSE_STRIDE } from '../hand/joints.js';
import type { Client } from './client.js';
import type { HandPose } from './pose.js';
import { compose, invert, matrixOf, type RigidPose } from './rigid.js';

/**
 * A glove in the shapes of the WebXR Device API and the WebXR Hand Input Module (W3C): an `XRHand` of 25 joint
 * spaces, and frames that know their poses. An existing page goes on calling `inputSource.hand`,
 * `frame.getJointPose`, `frame.fillPoses` and `frame.fillJointRadii`, and gets the glove.
 */

/** The 25 joints of WebXR, in its order: all but the palm. */
export const XR_JOINT_NAMES = JOINT_NAMES.filter((name) => name !== 'palm');

/** A joint of a glove, in the place of an XRJointSpace. */
export class GloveJointSpace {
  constructor(
    readonly hand: HandSide,
    readonly jointName: JointName,
    /** Offset of the joint in `HandPose.poses`. */
    readonly offset: number,
  ) {}
}

/** In the place of an XRHand: a map in the standard's order. */
export type GloveXRHand = ReadonlyMap<JointName, GloveJointSpace>;

export function createXRHand(hand: HandSide): GloveXRHand {
  return new Map(
    XR_JOINT_NAMES.map((name) => [
      name,
      new GloveJointSpace(hand, name, JOINT_NAMES.indexOf(name) * POSE_STRIDE),
    ]),
  );
}

/** What is used of the browser's objects; any page's fit. */
export interface XRSourceLike {
  readonly handedness: string;
  readonly gripSpace?: object | undefined;
  readonly hand?: unknown;
}
export interface XRFrameLike {
  readonly predictedDisplayTime?: number;
  getPose?(space: never, base: never): { transform: XRTransformLike } | null | undefined;
  getJointPose?(joint: never, base: never): object | null | undefined;
  fillPoses?(spaces: never, base: never, transforms: Float32Array): boolean;
  fillJointRadii?(joints: never, radii: Float32Array): boolean;
}
export interface XRTransformLike {
  readonly position: { readonly x: number; readonly y: number; readonly z: number };
  readonly orientation: { readonly x: number; readonly y: number; readonly z: number; readonly w: number };
}
export interface XRSessionLike {
  readonly inputSources?: Iterable<XRSourceLike>;
  requestAnimationFrame(callback: (time: number, frame: never) => void): number;
  addEventListener(type: 'inputsourceschange', listener: (event: Event) => void): void;
}

/** A joint's pose as WebXR gives it: `transform` with position, orientation, matrix and inverse; and `radius`. */
export interface GloveJointPose {
  readonly transform: GloveTransform;
  readonly radius: number;
  readonly emulatedPosition: boolean;
}

/** In the place of an XRRigidTransform. */
export class GloveTransform implements XRTransformLike {
  readonly position: { x: number; y: number; z: number; w: number };
  readonly orientation: { x: number; y: number; z: number; w: number };
  constructor(private readonly pose: RigidPose) {
    const [x, y, z, qx, qy, qz, qw] = pose;
    this.position = { x, y, z, w: 1 };
    this.orientation = { x: qx, y: qy, z: qz, w: qw };
  }
  /** Column by column. */
  get matrix(): Float32Array {
    return matrixOf(this.pose, new Float32Array(16));
  }
  get inverse(): GloveTransform {
    return new GloveTransform(invert(this.pose));
  }
}

export interface WearOptions {
  /**
   * Where the wrist is in the grip space of the controller or tracker on the hand: [x, y, z, qx, qy, qz, qw].
   * The default suits a controller that is strapped to the back of the hand: no offset. Not used for poses in
   * world space, which a tracker placed already.
   */
  wristInGrip?: Partial<Record<HandSide, RigidPose>>;
}

const IDENTITY: RigidPose = [0, 0, 0, 0, 0, 0, 1];

/**
 * Makes a WebXR session take hands from gloves: three lines in an existing page.
 *
 *   import { connect, wearGloves } from 'tautline/client';
 *   const client = connect();
 *   wearGloves(session, client);        // right after navigator.xr.requestSession
 *
 * While a glove is live, the input source of its side has a `hand` with the glove's joints; the wrist stands
 * where the source's grip space is. When the glove is silent, the page gets what the browser has.
 *
 * @returns a function that gives the session its own hands back
 */
export function wearGloves(session: XRSessionLike, client: Client, options: WearOptions = {}): () => void {
  const hands = { left: createXRHand('left'), right: createXRHand('right') };
  const dressed = new Set<XRSourceLike>();
  const frames = new WeakSet<object>();
  const gloved = { frameMs: undefined as number | undefined };
  let on = true;

  const dress = (source: XRSourceLike): void => {
    const side = source.handedness;
    if ((side !== 'left' && side !== 'right') || dressed.has(source)) return;
    dressed.add(source);
    const own = Object.getOwnPropertyDescriptor(Object.getPrototypeOf(source) ?? {}, 'hand');
    const given = source.hand;
    Object.defineProperty(source, 'hand', {
      configurable: true,
      enumerable: true,
      get: () => (on && isLive(client, side) ? hands[side] : own?.get ? own.get.call(source) : given),
    });
  };
  const dressAll = (): void => {
    for (const source of session.inputSources ?? []) dress(source);
  };
  const sourceOf = (side: HandSide) => [...(session.inputSources ?? [])].find((s) => s.handedness === side);

  dressAll();
  session.addEventListener('inputsourceschange', (event) => {
    for (const source of (event as { added?: Iterable<XRSourceLike> }).added ?? []) dress(source);
    dressAll();
  });

  const request = session.requestAnimationFrame.bind(session);
  session.requestAnimationFrame = (callback) =>
    request(((time: number, frame: XRFrameLike) => {
      gloved.frameMs = frame.predictedDisplayTime ?? time;
      if (on && !frames.has(frame)) {
        frames.add(frame);
        addGloves(frame, client, {
          timeMs: () => gloved.frameMs,
          wrist: (side) => options.wristInGrip?.[side] ?? IDENTITY,
          grip: (side) => sourceOf(side)?.gripSpace,
        });
      }
      callback(time, frame as never);
    }) as never);

  return () => {
    on = false;
    session.requestAnimationFrame = request;
    for (const source of dressed) delete (source as { hand?: unknown }).hand;
  };
}

const isLive = (client: Client, side: HandSide): boolean => client.pose(side)?.valid ?? false;

export interface GloveFrameOptions {
  /** When the frame is shown, on the clock of `performance.now()`; now when it gives nothing. */
  timeMs?(): number | undefined;
  /** Wrist in the grip space. */
  wrist?(side: HandSide): RigidPose;
  /** Grip space of a side; without one, the wrist is the origin of every base space. */
  grip?(side: HandSide): object | undefined;
}

/** Teaches one frame the poses of glove joints; everything else goes to the frame's own functions. */
export function addGloves(frame: XRFrameLike, client: Client, options: GloveFrameOptions = {}): void {
  const own = {
    getPose: frame.getPose?.bind(frame),
    getJointPose: frame.getJointPose?.bind(frame),
    fillPoses: frame.fillPoses?.bind(frame),
    fillJointRadii: frame.fillJointRadii?.bind(frame),
  };
  // One prediction per frame: all joints of a hand belong to the same moment.
  const poses = new Map<HandSide, HandPose | undefined>();
  const poseOf = (side: HandSide): HandPose | undefined => {
    if (!poses.has(side)) {
      const pose = client.poseAt(side, options.timeMs?.());
      poses.set(side, pose?.valid ? pose : undefined);
    }
    return poses.get(side);
  };

  /** The wrist's frame in a base space: undefined when the base does not know where the hand is. */
  const wristIn = (side: HandSide, pose: HandPose, base: object): RigidPose | undefined => {
    if (pose.space === 'world') return IDENTITY;
    const grip = options.grip?.(side);
    if (!grip || !own.getPose) return IDENTITY;
    const found = own.getPose(grip as never, base as never);
    if (!found) return undefined;
    const { position: p, orientation: q } = found.transform;
    return compose([p.x, p.y, p.z, q.x, q.y, q.z, q.w], options.wrist?.(side) ?? IDENTITY);
  };
  const inHand = (pose: HandPose, at: number): RigidPose => [
    ...(pose.poses.subarray(at, at + 7) as unknown as RigidPose),
  ];

  const locate = (space: GloveJointSpace, base: unknown): RigidPose | undefined => {
    const pose = poseOf(space.hand);
    if (!pose) return undefined;
    const joint = inHand(pose, space.offset);
    if (base instanceof GloveJointSpace && base.hand === space.hand) {
      return compose(invert(inHand(pose, base.offset)), joint);
    }
    const wrist = wristIn(space.hand, pose, base as object);
    return wrist && compose(wrist, joint);
  };
  const isJoint = (space: unknown): space is GloveJointSpace => space instanceof GloveJointSpace;

  const shaped = frame as { -readonly [K in keyof XRFrameLike]: unknown };
  shaped.getJointPose = (space: unknown, base: unknown): unknown => {
    if (!isJoint(space)) return own.getJointPose?.(space as never, base as never);
    const found = locate(space, base);
    if (!found) return null;
    const radius = poseOf(space.hand)?.poses[space.offset + 7];
    return { transform: new GloveTransform(found), radius, emulatedPosition: false };
  };
  shaped.getPose = (space: unknown, base: unknown): unknown => {
    if (!isJoint(space)) return own.getPose?.(space as never, base as never);
    const found = locate(space, base);
    return found ? { transform: new GloveTransform(found), emulatedPosition: false } : null;
  };
  shaped.fillPoses = (spaces: Iterable<unknown>, base: unknown, transforms: Float32Array): boolean => {
    const list = [...spaces];
    if (!list.every(isJoint)) {
      return own.fillPoses?.(list as never, base as never, transforms) ?? false;
    }
    requireLength(transforms, list.length * 16);
    for (const [i, space] of list.entries()) {
      const found = locate(space, base);
      if (!found) return false;
      matrixOf(found, transforms.subarray(i * 16, i * 16 + 16));
    }
    return true;
  };
  shaped.fillJointRadii = (spaces: Iterable<unknown>, radii: Float32Array): boolean => {
    const list = [...spaces];
    if (!list.every(isJoint)) return own.fillJointRadii?.(list as never, radii) ?? false;
    requireLength(radii, list.length);
    let all = true;
    for (const [i, { hand, offset }] of list.entries()) {
      const pose = poseOf(hand);
      all &&= pose !== undefined;
      // What is not known is NaN, as the standard has it.
      radii[i] = pose ? pose.poses[offset + 7] : Number.NaN;
    }
    return all;
  };
}

/** @throws TypeError as the standard has it */
function requireLength(array: Float32Array, needed: number): void {
  if (array.length >= needed) return;
  throw new TypeError(`The array has room for ${array.length} numbers; ${needed} are needed.`);
}
