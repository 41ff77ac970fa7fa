import type { HandSide } from '../hand/joints.js';

/**
 * The poses that OpenXR asks of a hand: `grip`, `aim` (core specification), `pinch_ext` and `poke_ext`
 * (XR_EXT_hand_interaction). Meanings from the specification, 1.1:
 * - grip: on the skin at the centre of the palm; +X out of the palm of a left hand, into the palm of a right
 *   hand; -Z along the tube that the closed fingers form, from little finger to thumb; +Y then to the forearm.
 * - aim: a ray along -Z for pointing; here from the middle between thumb and index knuckle, in the direction of
 *   the hand, which stays put while fingers close.
 * - pinch_ext: where thumb tip and index tip meet; +Z from there to the middle of the thumb's and the finger's proximal
 *   joints; +Y to the side of the thumb, which is up when the palms face each other.
 * - poke_ext: at the end of the index finger, -Z out of it, +Y out of the nail.
 */
export const INPUT_POSES = ['grip/pose', 'aim/pose', 'pinch_ext/pose', 'poke_ext/pose'] as const;
/** Numbers per pose: x, y, z (m), qx, qy, qz, qw. */
export const INPUT_POSE_STRIDE = 7;

export const inputPosePaths = (side: HandSide): string[] =>
  INPUT_POSES.map((name) => `/user/hand/${side}/input/${name}`);

const PALM = 0;
const THUMB_PROXIMAL = 3;
const THUMB_TIP = 5;
const INDEX_PROXIMAL = 7;
const INDEX_TIP = 10;
const STRIDE = 8;

/**
 * @param poses 26 x [x, y, z, qx, qy, qz, qw, radius]
 * @param out INPUT_POSES.length x INPUT_POSE_STRIDE, written in the order of INPUT_POSES
 */
export function updateInputPoses(side: HandSide, poses: Float64Array, out: Float64Array): void {
  const palm = PALM * STRIDE;

  // In the palm joint's axes (+X right, +Y dorsal, +Z to the forearm) a right hand's thumb is at -X: grip X = +Y,
  // Y = +Z, Z = +X. Of a left hand the thumb is at +X: grip X = -Y, Y = +Z, Z = -X.
  copyPosition(poses, palm, out, 0);
  moveAlongY(poses, palm, -poses[palm + 7], out, 0);
  if (side === 'right') multiplyInto(poses, palm + 3, 0.5, 0.5, 0.5, 0.5, out, 3);
  else multiplyInto(poses, palm + 3, 0.5, -0.5, -0.5, 0.5, out, 3);

  const aim = INPUT_POSE_STRIDE;
  copyMiddle(poses, THUMB_PROXIMAL, INDEX_PROXIMAL, out, aim);
  copyRotation(poses, palm, out, aim);

  const pinch = 2 * INPUT_POSE_STRIDE;
  copyMiddle(poses, THUMB_TIP, INDEX_TIP, out, pinch);
  turnToKnuckles(poses, palm, side === 'right' ? -1 : 1, out, pinch);

  const poke = 3 * INPUT_POSE_STRIDE;
  const tip = INDEX_TIP * STRIDE;
  copyPosition(poses, tip, out, poke);
  moveAlongZ(poses, tip, -poses[tip + 7], out, poke);
  copyRotation(poses, tip, out, poke);
}

function copyPosition(poses: Float64Array, joint: number, out: Float64Array, at: number): void {
  out[at] = poses[joint];
  out[at + 1] = poses[joint + 1];
  out[at + 2] = poses[joint + 2];
}

function copyRotation(poses: Float64Array, joint: number, out: Float64Array, at: number): void {
  for (let i = 3; i < 7; i++) out[at + i] = poses[joint + i];
}

function copyMiddle(poses: Float64Array, a: number, b: number, out: Float64Array, at: number): void {
  for (let i = 0; i < 3; i++) out[at + i] = (poses[a * STRIDE + i] + poses[b * STRIDE + i]) / 2;
}

/**
 * Orientation of the pinch at out[at…], whose position is there already; the palm's own where the tips lie at the
 * knuckles or straight beside them.
 * @param thumbSide the thumb is on this side of the palm's X
 */
function turnToKnuckles(
  poses: Float64Array,
  palm: number,
  thumbSide: number,
  out: Float64Array,
  at: number,
): void {
  const a = THUMB_PROXIMAL * STRIDE;
  const b = INDEX_PROXIMAL * STRIDE;
  let zx = (poses[a] + poses[b]) / 2 - out[at];
  let zy = (poses[a + 1] + poses[b + 1]) / 2 - out[at + 1];
  let zz = (poses[a + 2] + poses[b + 2]) / 2 - out[at + 2];
  const qx = poses[palm + 3];
  const qy = poses[palm + 4];
  const qz = poses[palm + 5];
  const qw = poses[palm + 6];
  const ux = thumbSide * (1 - 2 * (qy * qy + qz * qz));
  const uy = thumbSide * 2 * (qx * qy + qw * qz);
  const uz = thumbSide * 2 * (qx * qz - qw * qy);
  const length = Math.sqrt(zx * zx + zy * zy + zz * zz);
  zx /= length;
  zy /= length;
  zz /= length;
  // X = up × Z
  let xx = uy * zz - uz * zy;
  let xy = uz * zx - ux * zz;
  let xz = ux * zy - uy * zx;
  const across = Math.sqrt(xx * xx + xy * xy + xz * xz);
  if (!(length > 1e-6 && across > 1e-6)) {
    copyRotation(poses, palm, out, at);
    return;
  }
  xx /= across;
  xy /= across;
  xz /= across;
  // Y = Z × X
  const yx = zy * xz - zz * xy;
  const yy = zz * xx - zx * xz;
  const yz = zx * xy - zy * xx;
  writeRotation(xx, xy, xz, yx, yy, yz, zx, zy, zz, out, at + 3);
}

/** The quaternion of three axes at right angles (Shepperd 1978): from its largest component, so that none is lost. */
function writeRotation(
  xx: number,
  xy: number,
  xz: number,
  yx: number,
  yy: number,
  yz: number,
  zx: number,
  zy: number,
  zz: number,
  out: Float64Array,
  at: number,
): void {
  const trace = xx + yy + zz;
  if (trace > 0) write(yz - zy, zx - xz, xy - yx, 1 + trace, out, at);
  else if (xx > yy && xx > zz) write(1 + xx - yy - zz, xy + yx, zx + xz, yz - zy, out, at);
  else if (yy > zz) write(xy + yx, 1 - xx + yy - zz, yz + zy, zx - xz, out, at);
  else write(zx + xz, yz + zy, 1 - xx - yy + zz, xy - yx, out, at);
}

function write(x: number, y: number, z: number, w: number, out: Float64Array, at: number): void {
  const length = Math.sqrt(x * x + y * y + z * z + w * w);
  out[at] = x / length;
  out[at + 1] = y / length;
  out[at + 2] = z / length;
  out[at + 3] = w / length;
}

/** Moves a position along a joint's +Y by a distance. */
function moveAlongY(poses: Float64Array, joint: number, by: number, out: Float64Array, at: number): void {
  const x = poses[joint + 3];
  const y = poses[joint + 4];
  const z = poses[joint + 5];
  const w = poses[joint + 6];
  out[at] += by * 2 * (x * y - w * z);
  out[at + 1] += by * (1 - 2 * (x * x + z * z));
  out[at + 2] += by * 2 * (y * z + w * x);
}

/** Moves a position along a joint's +Z by a distance. */
function moveAlongZ(poses: Float64Array, joint: number, by: number, out: Float64Array, at: number): void {
  const x = poses[joint + 3];
  const y = poses[joint + 4];
  const z = poses[joint + 5];
  const w = poses[joint + 6];
  out[at] += by * 2 * (x * z + w * y);
  out[at + 1] += by * 2 * (y * z - w * x);
  out[at + 2] += by * (1 - 2 * (x * x + y * y));
}

/** Quaternion at poses[a] times a constant one, into out[at]. */
function multiplyInto(
  poses: Float64Array,
  a: number,
  x: number,
  y: number,
  z: number,
  w: number,
  out: Float64Array,
  at: number,
): void {
  const ax = poses[a];
  const ay = poses[a + 1];
  const az = poses[a + 2];
  const aw = poses[a + 3];
  out[at] = aw * x + ax * w + ay * z - az * y;
  out[at + 1] = aw * y + ay * w + az * x - ax * z;
  out[at + 2] = aw * z + az * w + ax * y - ay * x;
  out[at + 3] = aw * w - ax * x - ay * y - az * z;
}
