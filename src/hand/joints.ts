/**
 * The joint table: names, order and parents of the 26 joints.
 *
 * Order and meaning are those of OpenXR XR_EXT_hand_tracking (XrHandJointEXT 0..25). Names are those of
 * WebXR Hand Input, plus `palm`, which WebXR leaves out.
 */

export const HAND_SIDES = ['left', 'right'] as const;
export type HandSide = (typeof HAND_SIDES)[number];

/** The program's own finger names, thumb first. WebXR calls the last one `pinky-finger` in joint names. */
export const FINGERS = ['thumb', 'index', 'middle', 'ring', 'little'] as const;
export type Finger = (typeof FINGERS)[number];

export const JOINT_NAMES = [
  'palm',
  'wrist',
  'thumb-metacarpal',
  'thumb-phalanx-proximal',
  'thumb-phalanx-distal',
  'thumb-tip',
  'index-finger-metacarpal',
  'index-finger-phalanx-proximal',
  'index-finger-phalanx-intermediate',
  'index-finger-phalanx-distal',
  'index-finger-tip',
  'middle-finger-metacarpal',
  'middle-finger-phalanx-proximal',
  'middle-finger-phalanx-intermediate',
  'middle-finger-phalanx-distal',
  'middle-finger-tip',
  'ring-finger-metacarpal',
  'ring-finger-phalanx-proximal',
  'ring-finger-phalanx-intermediate',
  'ring-finger-phalanx-distal',
  'ring-finger-tip',
  'pinky-finger-metacarpal',
  'pinky-finger-phalanx-proximal',
  'pinky-finger-phalanx-intermediate',
  'pinky-finger-phalanx-distal',
  'pinky-finger-tip',
] as const;
export type JointName = (typeof JOINT_NAMES)[number];

export const JOINT_COUNT = JOINT_NAMES.length;
export const PALM = 0;
export const WRIST = 1;

/** Index of each finger's first joint (its metacarpal), in FINGERS order. */
export const FINGER_BASE = [2, 6, 11, 16, 21] as const;
/** Joints of each finger: the thumb has no intermediate phalanx. */
export const FINGER_JOINTS = [4, 5, 5, 5, 5] as const;

/** Parent joint index of each joint; the wrist is the root (-1), the palm hangs on the wrist. */
export const JOINT_PARENT: readonly number[] = JOINT_NAMES.map((_, joint) => {
  if (joint === WRIST) return -1;
  if (joint === PALM || (FINGER_BASE as readonly number[]).includes(joint)) return WRIST;
  return joint - 1;
});

/** Index into FINGERS of the finger a joint belongs to, or -1 for palm and wrist. */
export const JOINT_FINGER: readonly number[] = JOINT_NAMES.map((_, joint) =>
  FINGER_BASE.findIndex((base, finger) => joint >= base && joint < base + FINGER_JOINTS[finger]),
);

/** Numbers per joint in a pose array: x, y, z (m), qx, qy, qz, qw, radius (m). */
export const POSE_STRIDE = 8;
/** Numbers per joint in a velocity array: vx, vy, vz (m/s), wx, wy, wz (rad/s). */
export const VELOCITY_STRIDE = 6;
