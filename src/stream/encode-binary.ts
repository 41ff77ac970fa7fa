import { JOINT_COUNT } from '../hand/joints.js';
import { HAND_CODE } from '../link/table.js';
import { LARGEST, MAX_REASON, type PoseMessage } from './encode.js';
import {
  FLAG_VALID,
  FLAG_VELOCITIES,
  FLAG_WORLD,
  POSES_OFFSET,
  RECORD_JOINTS,
  VELOCITIES_OFFSET,
} from './joints-record.js';

/** Views of the buffer that was used last: a group encodes into the same one again and again. */
let viewed: Buffer | undefined;
let view: DataView = new DataView(new ArrayBuffer(0));
/** Undefined where the machine's own order of bytes is not the record's, or the buffer is not aligned. */
let floats: Float32Array | undefined;
const LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;

/** EncodePose for the record of joints-record.ts. */
export function encodeJointsBinary(target: Buffer, start: number, message: PoseMessage): number {
  if (target !== viewed) {
    viewed = target;
    view = new DataView(target.buffer, target.byteOffset, target.byteLength);
    floats =
      LITTLE_ENDIAN && target.byteOffset % 4 === 0
        ? new Float32Array(target.buffer, target.byteOffset, target.byteLength >> 2)
        : undefined;
  }
  const { velocities, fingerStates } = message;
  view.setUint8(start, RECORD_JOINTS);
  view.setUint8(start + 1, HAND_CODE[message.hand]);
  view.setUint8(
    start + 2,
    (message.valid ? FLAG_VALID : 0) |
      (velocities ? FLAG_VELOCITIES : 0) |
      (message.space === 'world' ? FLAG_WORLD : 0),
  );
  view.setUint8(start + 3, JOINT_COUNT);
  view.setUint32(start + 4, message.seq, true);
  view.setFloat64(start + 8, message.timeUs, true);
  let states = 0;
  for (let finger = 0; finger < fingerStates.length; finger++)
    states |= (fingerStates[finger] & 3) << (finger * 2);
  view.setUint16(start + 16, states, true);

  let end = writeFloats(start + POSES_OFFSET, message.poses);
  if (velocities && end > 0) end = writeFloats(start + VELOCITIES_OFFSET, velocities);
  if (end < 0) return -1;
  let reasonBytes = 0;
  if (!message.valid && message.reason) {
    reasonBytes = target.write(message.reason.slice(0, MAX_REASON), end);
  }
  view.setUint16(start + 18, reasonBytes, true);
  return end + reasonBytes;
}

/**
 * Four sums side by side: one alone would wait for each addition before the next. Both arrays are multiples of four.
 * @returns the end, or -1 if a number is not finite or too large
 */
function writeFloats(offset: number, values: Float64Array): number {
  const count = values.length;
  let s0 = 0;
  let s1 = 0;
  let s2 = 0;
  let s3 = 0;
  if (floats && (offset & 3) === 0) {
    let at = offset >> 2;
    const to = floats;
    for (let i = 0; i < count; i += 4, at += 4) {
      const v0 = values[i];
      const v1 = values[i + 1];
      const v2 = values[i + 2];
      const v3 = values[i + 3];
      s0 += v0 * v0;
      s1 += v1 * v1;
      s2 += v2 * v2;
      s3 += v3 * v3;
      to[at] = v0;
      to[at + 1] = v1;
      to[at + 2] = v2;
      to[at + 3] = v3;
    }
  } else {
    for (let i = 0; i < count; i++) {
      const value = values[i];
      s0 += value * value;
      view.setFloat32(offset + i * 4, value, true);
    }
  }
  // The sum is as cheap as can be, and large or not a number whenever one of them is.
  return s0 + s1 + s2 + s3 < LARGEST * LARGEST || allSmall(values) ? offset + count * 4 : -1;
}

const allSmall = (values: Float64Array): boolean => values.every((value) => Math.abs(value) < LARGEST);
