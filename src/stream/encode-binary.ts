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

/** One view for the buffer that was used last: a group encodes into the same one again and again. */
let view: DataView = new DataView(new ArrayBuffer(0));

/** EncodePose for the record of joints-record.ts. */
export function encodeJointsBinary(target: Buffer, start: number, message: PoseMessage): number {
  if (view.buffer !== target.buffer || view.byteOffset !== target.byteOffset) {
    view = new DataView(target.buffer, target.byteOffset, target.byteLength);
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

function writeFloats(offset: number, values: Float64Array): number {
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    if (!(Math.abs(value) < LARGEST)) return -1;
    view.setFloat32(offset + i * 4, value, true);
  }
  return offset + values.length * 4;
}
