/**
 * The library for apps, in browsers and in Node. Importing it starts nothing.
 *
 *   const client = connect();
 *   client.on('joints', (pose) => draw(pose.position('index-finger-tip')));
 */
export {
  FINGERS,
  type Finger,
  type HandSide,
  JOINT_NAMES,
  JOINT_PARENT,
  type JointName,
} from '../hand/joints.js';
export type { FingerState, StreamName } from '../protocol/constants.js';
export type { Shape } from '../protocol/messages.js';
export * from './client.js';
export type { Ack, ConnectionState } from './connection.js';
export * from './errors.js';
export { Grab, type GrabEvent, type GrabOptions, type GrabState, type WritablePose } from './grab.js';
export type { Hold, HoldRequest, HoldState, ResistRequest } from './hold.js';
export type * from './options.js';
export { HandPose, jointIndex, type Quaternion, type Vector3 } from './pose.js';
export { MAX_AHEAD_US } from './prediction.js';
export type { RigidPose } from './rigid.js';
export { convexParts, ring } from './shapes.js';
export { type AttachOptions, attachHand, type HandGroup } from './three.js';
export { createXRHand, type GloveXRHand, type WearOptions, wearGloves, XR_JOINT_NAMES } from './webxr.js';
