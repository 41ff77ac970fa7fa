import type { Finger } from './joints.js';

/**
 * Segment lengths as fractions of hand length (Buchholz, Armstrong & Goldstein, Ergonomics 35(3), 1992; quoted
 * from memory).
 *
 * Two readings follow from the numbers themselves. The middle finger's four segments add up to 0.99 of the
 * hand, so the "metacarpal" of index to little runs from the centre of the wrist to the MCP joint, carpal bones
 * included; the thumb's is the bone alone, from its CMC joint. The distal segment runs to the end of the finger.
 */
export const BUCHHOLZ_FRACTIONS: Readonly<Record<Finger, readonly number[]>> = {
  thumb: [0.251, 0.196, 0.158],
  index: [0.463, 0.245, 0.143, 0.097],
  middle: [0.446, 0.266, 0.17, 0.108],
  ring: [0.421, 0.244, 0.165, 0.107],
  little: [0.414, 0.204, 0.117, 0.093],
};

/** Hand length and breadth, metres (US Army survey, 1988; quoted from memory). */
export const HAND_SURVEY = {
  men: { lengthM: 0.194, lengthSdM: 0.01, breadthM: 0.0904 },
  women: { lengthM: 0.181, lengthSdM: 0.01, breadthM: 0.0794 },
} as const;

/** A hand between the survey's men and women, used when nothing is known of the wearer. */
export const DEFAULT_HAND_LENGTH_M = 0.1875;
/** Breadth over length, from the same survey. */
export const BREADTH_PER_LENGTH = 0.453;

/**
 * Where the fingers sit in a right hand: x and y in hand breadths, z in hand lengths, from the centre of the
 * wrist; angles in degrees. `base` is the CMC joint; `knuckle` is the MCP joint, whose z follows from the
 * segment length. `fanDeg` is the direction of the straight finger (positive towards the thumb), `rollDeg` the
 * lean of its back (positive towards the little finger), by which the fingers converge as they close.
 *
 * Common practice, chosen to agree with the generic hand model of the WebXR input profiles and so that the
 * breadth over the knuckles, skin to skin, is the hand's breadth.
 */
export const PLACEMENT = {
  index: { base: [-0.13, -0.03, -0.155], knuckle: [-0.295, -0.05], fanDeg: 3, rollDeg: -2 },
  middle: { base: [-0.03, -0.01, -0.155], knuckle: [-0.04, -0.01], fanDeg: 0, rollDeg: 0 },
  ring: { base: [0.09, -0.03, -0.15], knuckle: [0.2, -0.05], fanDeg: -4, rollDeg: 4 },
  little: { base: [0.2, -0.07, -0.145], knuckle: [0.425, -0.13], fanDeg: -8, rollDeg: 9 },
} as const;

/**
 * The thumb's CMC joint of a right hand, in the same units. At rest the metacarpal lies in the plane of the palm,
 * `fanDeg` away from the hand's axis, and the nail is turned by `turnDeg` from the back of the hand towards the
 * thumb side, so that flexion sweeps across the palm and abduction lifts the thumb out of its plane.
 */
export const THUMB_PLACEMENT = { base: [-0.24, -0.15, -0.14], fanDeg: 29, turnDeg: 78 } as const;

/**
 * Joint centre to skin, in hand breadths: the finger's joints in order, tip last. Common practice: about half
 * the joint breadths and depths of hand surveys (Garrett, Human Factors 13(2), 1971; from memory, rounded).
 */
export const RADIUS_PER_BREADTH = {
  palm: 0.155,
  wrist: 0.21,
  thumb: [0.17, 0.145, 0.118, 0.092],
  index: [0.155, 0.145, 0.108, 0.092, 0.076],
  middle: [0.16, 0.147, 0.111, 0.094, 0.079],
  ring: [0.155, 0.14, 0.104, 0.089, 0.074],
  little: [0.15, 0.135, 0.093, 0.079, 0.066],
} as const;
