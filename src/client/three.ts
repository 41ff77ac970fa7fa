import { type HandSide, JOINT_NAMES, type JointName, POSE_STRIDE } from '../hand/joints.js';
import type { Client } from './client.js';
import { HandPose } from './pose.js';
import { createXRHand, XR_JOINT_NAMES } from './webxr.js';

/**
 * Feeds a hand of three.js: the group that `renderer.xr.getHand(i)` gives, with the models that
 * `XRHandModelFactory` makes for it. Needs nothing of three.js itself but the objects that the page hands in.
 */

interface Vector3Like {
  readonly x: number;
  readonly y: number;
  readonly z: number;
  set(x: number, y: number, z: number): unknown;
}
interface QuaternionLike {
  readonly x: number;
  readonly y: number;
  readonly z: number;
  readonly w: number;
  set(x: number, y: number, z: number, w: number): unknown;
}
/** As much of Matrix4 as is used. */
interface Matrix4Like {
  compose(position: never, quaternion: never, scale: never): unknown;
  copy(matrix: never): unknown;
}
/** As much of Object3D as is used. */
export interface NodeLike {
  visible: boolean;
  readonly position: Vector3Like;
  readonly quaternion: QuaternionLike;
  readonly scale: Vector3Like;
  readonly matrix: Matrix4Like;
  readonly matrixWorld: unknown;
  matrixAutoUpdate: boolean;
  matrixWorldNeedsUpdate: boolean;
  add(...nodes: never[]): unknown;
  updateMatrixWorld(force?: boolean): void;
  dispatchEvent(event: never): unknown;
}
/** As three.js extends the group of a hand. */
export interface HandGroup extends NodeLike {
  joints?: Partial<Record<string, NodeLike & { jointRadius?: number | undefined }>>;
  inputState?: { pinching: boolean };
}

export interface AttachOptions {
  /** Node that the wrist follows, such as `renderer.xr.getControllerGrip(0)`; else the app places the group. */
  follow?: NodeLike;
  /** Clock that poses are predicted to, ms of `performance.now()`; now when absent. */
  displayTimeMs?(): number;
}

/**
 * Lets a glove move a hand of three.js, from now on at every frame that is rendered:
 *
 *   import { attachHand, connect } from 'tautline/client';
 *   const client = connect();
 *   attachHand(client, 'right', hand);      // hand = renderer.xr.getHand(0)
 *
 * Joints are in the frame of the group: the wrist is its origin, unless a tracker says where the hand is in the
 * world. Dispatches `connected` (with an input source that has a `hand`) when the glove comes, `disconnected`
 * when it goes, and `pinchstart` and `pinchend` as three.js does.
 *
 * @returns a function that detaches the glove
 */
export function attachHand(
  client: Client,
  side: HandSide,
  group: HandGroup,
  options: AttachOptions = {},
): () => void {
  const pose = new HandPose();
  const data = { handedness: side, hand: createXRHand(side), targetRayMode: 'tracked-pointer', profiles: [] };
  const given = group.updateMatrixWorld;
  const own = Object.hasOwn(group, 'updateMatrixWorld');
  let present = false;
  const joints = addJoints(group);
  const pinch = createPinch();
  const place = createPlace(group);

  const dispatch = (type: string, more: object = { data }): void => {
    group.dispatchEvent({ type, handedness: side, target: group, ...more } as never);
  };
  const leave = (): void => {
    if (!present) return;
    present = false;
    group.visible = false;
    dispatch('disconnected');
  };
  const update = (): void => {
    const now = client.poseAt(side, options.displayTimeMs?.(), pose);
    if (!now?.valid) {
      leave();
      return;
    }
    placeJoints(now, joints);
    if (options.follow && now.space === 'wrist') {
      group.matrixAutoUpdate = false;
      group.matrix.copy(options.follow.matrixWorld as never);
      group.matrixWorldNeedsUpdate = true;
    } else place();
    group.visible = true;
    if (!present) {
      present = true;
      dispatch('connected');
    }
    const change = pinch(now);
    if (change) {
      if (group.inputState) group.inputState.pinching = change === 'pinchstart';
      dispatch(change, {});
    }
  };

  // three.js calls this once a frame, just before it draws: as XRHandModel itself does it.
  group.updateMatrixWorld = (force) => {
    update();
    given.call(group, force);
  };
  return () => {
    if (own) group.updateMatrixWorld = given;
    else delete (group as Partial<HandGroup>).updateMatrixWorld;
    leave();
  };
}

/**
 * `renderer.xr.getHand(i)` gives a group whose matrix is set by three.js, so that a position which the app gives it has no
 * effect. Here nobody else places the group: what the app sets counts. An app that sets the matrix itself is left alone.
 */
function createPlace(group: HandGroup): () => void {
  const { position, quaternion, scale, matrix } = group;
  const last = [0, 0, 0, 0, 0, 0, 1, 1, 1, 1];
  const now = last.slice();
  return () => {
    if (group.matrixAutoUpdate) return;
    now[0] = position.x;
    now[1] = position.y;
    now[2] = position.z;
    now[3] = quaternion.x;
    now[4] = quaternion.y;
    now[5] = quaternion.z;
    now[6] = quaternion.w;
    now[7] = scale.x;
    now[8] = scale.y;
    now[9] = scale.z;
    let moved = false;
    for (let i = 0; i < now.length; i++) {
      moved ||= now[i] !== last[i];
      last[i] = now[i];
    }
    if (!moved) return;
    matrix.compose(position as never, quaternion as never, scale as never);
    group.matrixWorldNeedsUpdate = true;
  };
}

type JointNode = NonNullable<NonNullable<HandGroup['joints']>[string]>;

/** The 25 joint groups that models look for, made as three.js makes them if they are not there yet. */
function addJoints(group: HandGroup): Map<JointName, JointNode> {
  group.joints ??= {};
  group.inputState ??= { pinching: false };
  const Group = group.constructor as new () => JointNode;
  const joints = new Map<JointName, JointNode>();
  for (const name of XR_JOINT_NAMES) {
    let joint = group.joints[name];
    if (!joint) {
      joint = new Group();
      joint.matrixAutoUpdate = false;
      joint.visible = false;
      group.joints[name] = joint;
      group.add(joint as never);
    }
    joints.set(name, joint);
  }
  return joints;
}

function placeJoints({ poses }: HandPose, joints: Map<JointName, JointNode>): void {
  for (const [name, joint] of joints) {
    const at = OFFSET[name];
    joint.position.set(poses[at], poses[at + 1], poses[at + 2]);
    joint.quaternion.set(poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]);
    joint.matrix.compose(joint.position as never, joint.quaternion as never, joint.scale as never);
    joint.matrixWorldNeedsUpdate = true;
    joint.jointRadius = poses[at + 7];
    joint.visible = true;
  }
}

const OFFSET = Object.fromEntries(JOINT_NAMES.map((name, joint) => [name, joint * POSE_STRIDE])) as Record<
  JointName,
  number
>;

/**
 * Gap between the skins of thumb and index tip at which a pinch begins and ends, m. three.js compares the distance of
 * the joints (15 and 25 mm), which no finger of usual thickness can reach when tip joints lie inside the tips.
 */
const PINCH_BEGINS_M = 0.004;
const PINCH_ENDS_M = 0.014;

function createPinch(): (pose: HandPose) => 'pinchstart' | 'pinchend' | undefined {
  let pinching = false;
  const thumb = OFFSET['thumb-tip'];
  const index = OFFSET['index-finger-tip'];
  return ({ poses }) => {
    const distance = Math.hypot(
      poses[thumb] - poses[index],
      poses[thumb + 1] - poses[index + 1],
      poses[thumb + 2] - poses[index + 2],
    );
    const gap = distance - poses[thumb + 7] - poses[index + 7];
    if (pinching ? gap <= PINCH_ENDS_M : gap > PINCH_BEGINS_M) return undefined;
    pinching = !pinching;
    return pinching ? 'pinchstart' : 'pinchend';
  };
}
