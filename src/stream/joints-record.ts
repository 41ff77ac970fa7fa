import {
  FINGERS,
  HAND_SIDES,
  type HandSide,
  JOINT_COUNT,
  POSE_STRIDE,
  VELOCITY_STRIDE,
} from '../hand/joints.js';
import { FINGER_STATES, type FingerState } from '../protocol/constants.js';

/**
 * The binary `joints` message: one fixed little-endian record, the same numbers as the JSON message in
 * float32. Runs in browsers too.
 *
 *   offset  size  field
 *   0       u8    kind: 1
 *   1       u8    hand: 0 left, 1 right
 *   2       u8    flags: 1 valid, 2 velocities follow the poses, 4 world space, 8 pressures follow these,
 *                 16 of a recording
 *   3       u8    joints: 26
 *   4       u32   seq
 *   8       f64   timeUs
 *   16      u16   finger states, two bits each, thumb lowest: 0 invalid, 1 inferred, 2 tracked; the six bits above
 *                 them: how far the poses are predicted beyond timeUs, ms
 *   18      u16   bytes of the reason at the end; 0 while valid
 *   20      f32   26 × [x, y, z, qx, qy, qz, qw, radius]
 *   852     f32   26 × [vx, vy, vz, wx, wy, wz], if flagged
 *   …       f32   5 × pressure, thumb first, if flagged
 *   …       utf8  reason
 */
export const BINARY_LAYOUT = [
  { name: 'kind', offset: 0, type: 'u8', meaning: '1: joints' },
  { name: 'hand', offset: 1, type: 'u8', meaning: '0 left, 1 right' },
  {
    name: 'flags',
    offset: 2,
    type: 'u8',
    meaning: '1 valid, 2 velocities follow, 4 world space, 8 pressures follow, 16 of a recording',
  },
  { name: 'jointCount', offset: 3, type: 'u8', meaning: '26' },
  { name: 'seq', offset: 4, type: 'u32', meaning: 'as in JSON' },
  { name: 'timeUs', offset: 8, type: 'f64', meaning: 'as in JSON' },
  {
    name: 'fingerStates',
    offset: 16,
    type: 'u16',
    meaning:
      'two bits a finger, thumb lowest: 0 invalid, 1 inferred, 2 tracked; six bits above them: poseTimeUs - timeUs, ms',
  },
  { name: 'reasonBytes', offset: 18, type: 'u16', meaning: 'length of the reason at the end; 0 while valid' },
  { name: 'poses', offset: 20, type: 'f32[26][8]', meaning: 'x, y, z, qx, qy, qz, qw, radius' },
  {
    name: 'velocities',
    offset: 852,
    type: 'f32[26][6]',
    meaning: 'vx, vy, vz, wx, wy, wz; only if flagged',
  },
  {
    name: 'pressures',
    offset: undefined,
    type: 'f32[5]',
    meaning: 'after poses and velocities, thumb first; only if flagged, that is subscribed with surface',
  },
  { name: 'reason', offset: undefined, type: 'utf8', meaning: 'last; why not valid' },
] as const;

export const RECORD_JOINTS = 1;
export const FLAG_VALID = 1;
export const FLAG_VELOCITIES = 2;
export const FLAG_WORLD = 4;
export const FLAG_PRESSURES = 8;
export const FLAG_RECORDED = 16;
/** Of the u16 with the finger states. */
export const AHEAD_SHIFT = 2 * FINGERS.length;
export const POSES_OFFSET = 20;
export const VELOCITIES_OFFSET = POSES_OFFSET + JOINT_COUNT * POSE_STRIDE * 4;
export const VELOCITIES_BYTES = JOINT_COUNT * VELOCITY_STRIDE * 4;

/** A decoded record: the JSON message with flat arrays. */
export interface JointsRecord {
  hand: HandSide;
  seq: number;
  timeUs: number;
  /** What the poses are for: timeUs, or later where they are predicted. */
  poseTimeUs: number;
  space: 'wrist' | 'world';
  valid: boolean;
  /** A session is replayed: it is no hand of now. */
  recorded: boolean;
  /** Why not valid. */
  reason: string | undefined;
  fingers: Record<(typeof FINGERS)[number], FingerState>;
  /** 26 × POSE_STRIDE. */
  poses: Float32Array;
  /** 26 × VELOCITY_STRIDE, if subscribed. */
  velocities: Float32Array | undefined;
  /** How firmly each finger presses, thumb first, 0..1, if subscribed with surface. */
  pressures: Float32Array | undefined;
}

const utf8 = new TextDecoder();
/** Bytes that come with a view of their own are copied here before they are read: another view of them would be garbage. */
const copied = new Uint8Array(4096);
const viewOfCopied = new DataView(copied.buffer);
/** The newest reason, as bytes and as text: it comes with every record while a glove is silent. */
let reasonRead = new Uint8Array(0);
let reasonText: string | undefined;

/**
 * Decodes one binary message.
 * @param into a record from an earlier call to fill again, or what gives one for a hand: nothing is allocated then, unless
 *   the bytes come as an `ArrayBuffer`, which takes a view of them
 * @throws RangeError if the bytes are not such a record; nothing is changed then
 */
export function decodeJoints<R extends JointsRecord = JointsRecord>(
  bytes: ArrayBuffer | Uint8Array,
  into: R | ((hand: HandSide) => R),
): R;
export function decodeJoints(bytes: ArrayBuffer | Uint8Array): JointsRecord;
export function decodeJoints(
  bytes: ArrayBuffer | Uint8Array,
  into?: JointsRecord | ((hand: HandSide) => JointsRecord),
): JointsRecord {
  const size = bytes.byteLength;
  const view = viewOf(bytes);
  if (size < VELOCITIES_OFFSET || view.getUint8(0) !== RECORD_JOINTS) {
    throw new RangeError(`not a joints record: ${size} bytes`);
  }
  const hand = HAND_SIDES[view.getUint8(1)];
  const flags = view.getUint8(2);
  const hasVelocities = (flags & FLAG_VELOCITIES) !== 0;
  const hasPressures = (flags & FLAG_PRESSURES) !== 0;
  const pressuresOffset = VELOCITIES_OFFSET + (hasVelocities ? VELOCITIES_BYTES : 0);
  const reasonOffset = pressuresOffset + (hasPressures ? FINGERS.length * 4 : 0);
  const reasonBytes = view.getUint16(18, true);
  if (!hand || view.getUint8(3) !== JOINT_COUNT || size !== reasonOffset + reasonBytes) {
    throw new RangeError(`damaged joints record: ${size} bytes`);
  }
  if (!Number.isFinite(view.getFloat64(8, true)) || !areFinite(view, POSES_OFFSET, reasonOffset)) {
    throw new RangeError('damaged joints record: a number is not finite');
  }
  const record = typeof into === 'function' ? into(hand) : (into ?? emptyRecord());
  record.hand = hand;
  record.seq = view.getUint32(4, true);
  record.timeUs = view.getFloat64(8, true);
  record.space = flags & FLAG_WORLD ? 'world' : 'wrist';
  record.valid = (flags & FLAG_VALID) !== 0;
  record.recorded = (flags & FLAG_RECORDED) !== 0;
  record.reason = reasonBytes > 0 ? readReason(view, reasonOffset, reasonBytes) : undefined;
  const states = view.getUint16(16, true);
  record.poseTimeUs = record.timeUs + 1000 * (states >>> AHEAD_SHIFT);
  for (let finger = 0; finger < FINGERS.length; finger++) {
    record.fingers[FINGERS[finger]] = FINGER_STATES[(states >>> (finger * 2)) & 3] ?? 'invalid';
  }
  readFloats(view, POSES_OFFSET, record.poses);
  if (hasVelocities) {
    record.velocities ??= new Float32Array(JOINT_COUNT * VELOCITY_STRIDE);
    readFloats(view, VELOCITIES_OFFSET, record.velocities);
  } else record.velocities = undefined;
  if (hasPressures) {
    record.pressures ??= new Float32Array(FINGERS.length);
    readFloats(view, pressuresOffset, record.pressures);
  } else record.pressures = undefined;
  return record;
}

function emptyRecord(): JointsRecord {
  return {
    hand: 'left',
    seq: 0,
    timeUs: 0,
    poseTimeUs: 0,
    space: 'wrist',
    valid: false,
    recorded: false,
    reason: undefined,
    fingers: { thumb: 'invalid', index: 'invalid', middle: 'invalid', ring: 'invalid', little: 'invalid' },
    poses: new Float32Array(JOINT_COUNT * POSE_STRIDE),
    velocities: undefined,
    pressures: undefined,
  };
}

function viewOf(bytes: ArrayBuffer | Uint8Array): DataView {
  if (!(bytes instanceof Uint8Array)) return new DataView(bytes);
  if (bytes.length > copied.length) return new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  copied.set(bytes);
  return viewOfCopied;
}

/** A float whose exponent is all ones is no number. */
function areFinite(view: DataView, from: number, to: number): boolean {
  for (let at = from; at < to; at += 4) if ((view.getUint16(at + 2, true) & 0x7f80) === 0x7f80) return false;
  return true;
}

function readFloats(view: DataView, offset: number, into: Float32Array): void {
  for (let i = 0; i < into.length; i++) into[i] = view.getFloat32(offset + i * 4, true);
}

function readReason(view: DataView, offset: number, bytes: number): string {
  let same = reasonText !== undefined && reasonRead.length === bytes;
  for (let i = 0; same && i < bytes; i++) same = reasonRead[i] === view.getUint8(offset + i);
  if (same) return reasonText!;
  reasonRead = new Uint8Array(view.buffer, view.byteOffset + offset, bytes).slice();
  reasonText = utf8.decode(reasonRead);
  return reasonText;
}
