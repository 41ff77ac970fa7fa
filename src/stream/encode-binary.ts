import { JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE } from '../hand/joints.js';
import { HAND_CODE } from '../protocol/link-table.js';
import { LARGEST, MAX_REASON, type PoseMessage } from './encode.js';
import {
  AHEAD_SHIFT,
  FLAG_PRESSURES,
  FLAG_RECORDED,
  FLAG_VALID,
  FLAG_VELOCITIES,
  FLAG_WORLD,
  POSES_OFFSET,
  RECORD_JOINTS,
  VELOCITIES_OFFSET,
} from './joints-record.js';

/** Where a record is written. */
interface Place {
  target: Buffer;
  start: number;
  view: DataView;
  /** Undefined where the machine's byte order is not the record's, or the place is not aligned. */
  poses: Float32Array | undefined;
  velocities: Float32Array | undefined;
}

const LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;
/** Each group of readers keeps encoding into the same place. */
const places = new WeakMap<Buffer, Place>();
let last: Place | undefined;

function placeAt(target: Buffer, start: number): Place {
  if (last?.target === target && last.start === start) return last;
  const known = places.get(target);
  last = known?.start === start ? known : makePlace(target, start);
  return last;
}

function makePlace(target: Buffer, start: number): Place {
  const floats = (offset: number, count: number): Float32Array | undefined => {
    const at = target.byteOffset + start + offset;
    const fits = LITTLE_ENDIAN && at % 4 === 0 && start + offset + count * 4 <= target.length;
    return fits ? new Float32Array(target.buffer, at, count) : undefined;
  };
  const place = {
    target,
    start,
    view: new DataView(target.buffer, target.byteOffset, target.byteLength),
    poses: floats(POSES_OFFSET, JOINT_COUNT * POSE_STRIDE),
    velocities: floats(VELOCITIES_OFFSET, JOINT_COUNT * VELOCITY_STRIDE),
  };
  places.set(target, place);
  return place;
}

/** EncodePose for the record of joints-record.ts. */
export function encodeJointsBinary(target: Buffer, start: number, message: PoseMessage): number {
  const place = placeAt(target, start);
  const { view } = place;
  const { velocities, pressures, fingerStates } = message;
  view.setUint8(start, RECORD_JOINTS);
  view.setUint8(start + 1, HAND_CODE[message.hand]);
  view.setUint8(
    start + 2,
    (message.valid ? FLAG_VALID : 0) |
      (message.recorded ? FLAG_RECORDED : 0) |
      (velocities ? FLAG_VELOCITIES : 0) |
      (pressures ? FLAG_PRESSURES : 0) |
      (message.space === 'world' ? FLAG_WORLD : 0),
  );
  view.setUint8(start + 3, JOINT_COUNT);
  view.setUint32(start + 4, message.seq, true);
  view.setFloat64(start + 8, message.timeUs, true);
  let states = message.aheadMs << AHEAD_SHIFT;
  for (let finger = 0; finger < fingerStates.length; finger++)
    states |= (fingerStates[finger] & 3) << (finger * 2);
  view.setUint16(start + 16, states, true);

  let end = writeFloats(view, start + POSES_OFFSET, message.poses, place.poses);
  if (velocities && end > 0) end = writeFloats(view, end, velocities, place.velocities);
  if (pressures && end > 0) end = writeFloats(view, end, pressures, undefined);
  if (end < 0) return -1;
  let reasonBytes = 0;
  if (!message.valid && message.reason) {
    reasonBytes = target.write(message.reason.slice(0, MAX_REASON), end);
  }
  view.setUint16(start + 18, reasonBytes, true);
  return end + reasonBytes;
}

/**
 * @param to the same place as view and offset
 * @returns the end, or -1 if a number is not finite or too large
 */
function writeFloats(
  view: DataView,
  offset: number,
  values: Float64Array,
  to: Float32Array | undefined,
): number {
  let squares = 0;
  if (to?.length === values.length) squares = copyFloats(values, to);
  else {
    for (let i = 0; i < values.length; i++) {
      const value = values[i];
      squares += value * value;
      view.setFloat32(offset + i * 4, value, true);
    }
  }
  // Cheap to compute, and large or NaN whenever one of the values is.
  return squares < LARGEST * LARGEST || allSmall(values) ? offset + values.length * 4 : -1;
}

/**
 * Rounds a multiple of four values to float32, four at a time with a sum each: one sum would wait for each addition
 * before the next.
 * @returns the sum of their squares
 */
function copyFloats(from: Float64Array, to: Float32Array): number {
  let sum0 = 0;
  let sum1 = 0;
  let sum2 = 0;
  let sum3 = 0;
  for (let i = 0; i < from.length; i += 4) {
    const a = from[i];
    const b = from[i + 1];
    const c = from[i + 2];
    const d = from[i + 3];
    to[i] = a;
    to[i + 1] = b;
    to[i + 2] = c;
    to[i + 3] = d;
    sum0 += a * a;
    sum1 += b * b;
    sum2 += c * c;
    sum3 += d * d;
  }
  return sum0 + sum1 + (sum2 + sum3);
}

const allSmall = (values: Float64Array): boolean => values.every((value) => Math.abs(value) < LARGEST);
