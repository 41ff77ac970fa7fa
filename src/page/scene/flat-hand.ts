import { type Matrix4, Quaternion, Vector3 } from 'three';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, JOINT_COUNT, POSE_STRIDE, WRIST } from '../../hand/joints.js';
import { bandAround, type Disc, type FlatPen } from './flat-pen.js';

/** How a finger is drawn. */
export interface FlatLook {
  colour: string;
  /** Filled in from other fingers: with a dashed outline. */
  guessed?: boolean;
  /** At its stop: with a bar across its tip. */
  held?: boolean;
}

export interface FlatInks {
  outline: string;
  /** Behind what is guessed. */
  ground: string;
  nail: string;
  bar: string;
}

/** One shape of the drawing: discs with a band around them. */
interface Piece {
  look: FlatLook;
  discs: Disc[];
  depthM: number;
  /** It ends in the tip of this finger. */
  tipOf?: number;
}

const OUTLINE_PX = 1.5;
const GUESSED_ALPHA = 0.45;
const DASH = [5, 4];
/** So much of the forearm is drawn, m. */
const FOREARM_M = 0.03;
/** Of a nail: half its width and length, and how high it lies, in radii of the fingertip. */
const NAIL = { width: 0.55, length: 0.7, height: 0.8 };
/** A nail is seen from here on, cosine. */
const NAIL_SEEN = 0.25;

const KNUCKLES = FINGER_BASE.slice(1).map((base) => base + 1);
const tipJoint = (finger: number): number => FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;

/**
 * The hand from its joints and radii: a band around the palm, a tapered one for each bone, farther ones first.
 *
 * @param poses 26 × POSE_STRIDE, in the hand's frame
 * @param toWorld of that frame
 * @param looks by finger, then that of the palm
 */
export function drawFlatHand(
  pen: FlatPen,
  poses: ArrayLike<number>,
  toWorld: Matrix4,
  looks: readonly FlatLook[],
  inks: FlatInks,
): void {
  const { context } = pen;
  const at = new Vector3();
  const place = (joint: number): Vector3 =>
    at.fromArray(poses as number[], joint * POSE_STRIDE).applyMatrix4(toWorld);
  const discs = Array.from({ length: JOINT_COUNT }, (_, joint) =>
    pen.disc(place(joint), poses[joint * POSE_STRIDE + 7]),
  );
  for (const piece of piecesOf(discs, forearmOf(pen, poses, toWorld), looks)) {
    const { look } = piece;
    const path = bandAround(piece.discs);
    context.setLineDash(look.guessed ? DASH : []);
    context.lineWidth = OUTLINE_PX;
    context.strokeStyle = inks.outline;
    if (look.guessed) {
      context.fillStyle = inks.ground;
      context.fill(path);
      context.globalAlpha = GUESSED_ALPHA;
    }
    context.fillStyle = look.colour;
    context.fill(path);
    context.globalAlpha = 1;
    context.stroke(path);
    context.setLineDash([]);
    if (piece.tipOf === undefined) continue;
    drawNail(pen, poses, toWorld, tipJoint(piece.tipOf), inks);
    if (look.held) drawBar(context, piece.discs, inks.bar);
  }
}

/** Farther ones first. */
function piecesOf(discs: readonly Disc[], forearm: Disc, looks: readonly FlatLook[]): Piece[] {
  const palm = looks[FINGERS.length];
  const piece = (look: FlatLook, joints: readonly Disc[], tipOf?: number): Piece => ({
    look,
    discs: [...joints],
    depthM: joints.reduce((sum, { depthM }) => sum + depthM, 0) / joints.length,
    ...(tipOf === undefined ? {} : { tipOf }),
  });
  const pieces = [
    piece(palm, [forearm, discs[WRIST]]),
    piece(palm, [
      discs[WRIST],
      ...FINGER_BASE.slice(1).map((base) => discs[base]),
      ...KNUCKLES.map((k) => discs[k]),
    ]),
    // The ball of the thumb, and the skin between it and the index finger.
    piece(palm, [discs[FINGER_BASE[0]], discs[FINGER_BASE[0] + 1], discs[FINGER_BASE[1]]]),
  ];
  FINGERS.forEach((_, finger) => {
    const tip = tipJoint(finger);
    for (let joint = FINGER_BASE[finger] + 1; joint < tip; joint++) {
      const isTip = joint + 1 === tip;
      pieces.push(piece(looks[finger], [discs[joint], discs[joint + 1]], isTip ? finger : undefined));
    }
  });
  return pieces.sort((a, b) => b.depthM - a.depthM);
}

const turn = new Quaternion();
const axis = new Vector3();
const point = new Vector3();

/** A ball behind the wrist, along +Z of its frame (WebXR). */
function forearmOf(pen: FlatPen, poses: ArrayLike<number>, toWorld: Matrix4): Disc {
  const at = WRIST * POSE_STRIDE;
  turn.fromArray(poses as number[], at + 3);
  axis.set(0, 0, FOREARM_M).applyQuaternion(turn);
  point
    .fromArray(poses as number[], at)
    .add(axis)
    .applyMatrix4(toWorld);
  return pen.disc(point, poses[at + 7]);
}

/** On the back of the finger: what tells the sides of a hand. */
function drawNail(
  { context, disc, camera }: FlatPen,
  poses: ArrayLike<number>,
  toWorld: Matrix4,
  joint: number,
  { nail, outline }: FlatInks,
): void {
  const at = joint * POSE_STRIDE;
  const radius = poses[at + 7];
  turn.fromArray(poses as number[], at + 3);
  const inWorld = (x: number, y: number, z: number): Vector3 =>
    point
      .set(x * radius, y * radius, z * radius)
      .applyQuaternion(turn)
      .add(axis.fromArray(poses as number[], at))
      .applyMatrix4(toWorld);
  const middle = inWorld(0, NAIL.height, 0).clone();
  const up = inWorld(0, NAIL.height + 1, 0)
    .clone()
    .sub(middle)
    .normalize();
  if (up.dot(axis.copy(camera.position).sub(middle).normalize()) < NAIL_SEEN) return;
  const steps = 16;
  context.beginPath();
  for (let i = 0; i < steps; i++) {
    const angle = (2 * Math.PI * i) / steps;
    // Between an ellipse and a box.
    const [x, z] = [Math.cos(angle), Math.sin(angle)].map(
      (part) => Math.sign(part) * Math.sqrt(Math.abs(part)),
    );
    const seen = disc(inWorld(x * NAIL.width, NAIL.height, z * NAIL.length));
    context.lineTo(seen.x, seen.y);
  }
  context.closePath();
  context.fillStyle = nail;
  context.fill();
  context.lineWidth = OUTLINE_PX / 2;
  context.strokeStyle = outline;
  context.stroke();
}

/** Across the end of a finger that is held: it goes no further. */
function drawBar(context: CanvasRenderingContext2D, [from, tip]: readonly Disc[], colour: string): void {
  const [dx, dy] = [tip.x - from.x, tip.y - from.y];
  const length = Math.hypot(dx, dy) || 1;
  const [acrossX, acrossY] = [(-dy / length) * tip.radius * 1.6, (dx / length) * tip.radius * 1.6];
  const [x, y] = [tip.x + (dx / length) * tip.radius * 1.2, tip.y + (dy / length) * tip.radius * 1.2];
  context.beginPath();
  context.moveTo(x - acrossX, y - acrossY);
  context.lineTo(x + acrossX, y + acrossY);
  context.lineWidth = Math.max(4, tip.radius * 0.45);
  context.strokeStyle = colour;
  context.stroke();
}
