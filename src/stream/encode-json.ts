import { FINGERS, POSE_STRIDE, VELOCITY_STRIDE } from '../hand/joints.js';
import { FINGER_STATES } from '../protocol/constants.js';
import { LARGEST, MAX_REASON, type PoseMessage } from './encode.js';

/**
 * `joints` as JSON text, written straight into bytes: about ten times as fast as JSON.stringify, and shorter.
 * Poses are rounded to 1e-7 (0.1 µm, and the resolution of a float32 quaternion), velocities to 1e-5.
 */

const POSE_SCALE = 1e7;
const VELOCITY_SCALE = 1e5;
const ascii = (text: string) => Buffer.from(text, 'latin1');
const HEAD_LEFT = ascii('{"type":"joints","hand":"left","seq":');
const HEAD_RIGHT = ascii('{"type":"joints","hand":"right","seq":');
const TIME = ascii(',"timeUs":');
const POSE_TIME = ascii(',"poseTimeUs":');
const IN_WRIST = ascii(',"space":"wrist","valid":');
const IN_WORLD = ascii(',"space":"world","valid":');
const TRUE = ascii('true');
const FALSE = ascii('false');
const RECORDED = ascii(',"recorded":true');
const REASON = ascii(',"reason":');
const POSES = ascii(',"poses":[');
const PRESSURES = ascii(',"pressures":[');
const VELOCITIES = ascii(',"velocities":[');

const COMMA = 44;
const MINUS = 45;
const DOT = 46;
const ZERO = 48;
const OPEN = 91;
const CLOSE = 93;
const BRACE = 125;

/** The two digits of 0..99, as ASCII: a table of more would be out of the processor's cache at every sample. */
const DIGITS = new Uint8Array(200);
for (let n = 0; n < 100; n++) DIGITS.set(ascii(String(n).padStart(2, '0')), n * 2);

/** Text of each combination of finger states, by base-3 number; filled as they occur. */
const FINGER_TEXTS: (Buffer | undefined)[] = new Array(3 ** FINGERS.length);

/** EncodePose for JSON text. */
export function encodeJointsJson(target: Buffer, start: number, message: PoseMessage): number {
  let at = put(target, start, message.hand === 'left' ? HEAD_LEFT : HEAD_RIGHT);
  at = putWhole(target, at, message.seq);
  at = put(target, at, TIME);
  at = putTime(target, at, message.timeUs);
  if (message.aheadMs > 0) {
    at = put(target, at, POSE_TIME);
    at = putTime(target, at, message.timeUs + 1000 * message.aheadMs);
  }
  at = put(target, at, message.space === 'wrist' ? IN_WRIST : IN_WORLD);
  at = put(target, at, message.valid ? TRUE : FALSE);
  if (message.recorded) at = put(target, at, RECORDED);
  if (!message.valid && message.reason) {
    at = put(target, at, REASON);
    at += target.write(JSON.stringify(message.reason.slice(0, MAX_REASON)), at);
  }
  at = put(target, at, fingerText(message.fingerStates));
  at = put(target, at, POSES);
  at = putRows(target, at, message.poses, POSE_STRIDE, POSE_SCALE);
  if (at > 0 && message.velocities) {
    at = put(target, at, VELOCITIES);
    at = putRows(target, at, message.velocities, VELOCITY_STRIDE, VELOCITY_SCALE);
  }
  if (at > 0 && message.pressures) {
    at = put(target, at, PRESSURES);
    at = putNumbers(target, at, message.pressures);
  }
  if (at < 0) return -1;
  target[at++] = BRACE;
  return at;
}

function put(target: Uint8Array, at: number, bytes: Uint8Array): number {
  target.set(bytes, at);
  return at + bytes.length;
}

function fingerText(states: Uint8Array): Buffer {
  let index = 0;
  for (let finger = 0; finger < FINGERS.length; finger++) index = index * 3 + Math.min(states[finger], 2);
  let text = FINGER_TEXTS[index];
  if (!text) {
    const fingers = Object.fromEntries(
      FINGERS.map((finger, i) => [finger, FINGER_STATES[Math.min(states[i], 2)]]),
    );
    text = ascii(`,"fingers":${JSON.stringify(fingers)}`);
    FINGER_TEXTS[index] = text;
  }
  return text;
}

/** Numbers and the closing bracket, to four places; -1 when one cannot be sent. */
function putNumbers(target: Buffer, start: number, values: Float64Array): number {
  let at = start;
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    if (!(Math.abs(value) < LARGEST)) return -1;
    if (i > 0) target[at++] = COMMA;
    at += target.write(String(Math.round(value * 1e4) / 1e4), at, 'latin1');
  }
  target[at++] = CLOSE;
  return at;
}

/** Rows of numbers and the closing bracket; -1 when a number cannot be sent. */
function putRows(
  target: Uint8Array,
  start: number,
  values: Float64Array,
  stride: number,
  scale: number,
): number {
  let at = start;
  const widen = POSE_SCALE / scale;
  for (let row = 0; row < values.length; row += stride) {
    if (row > 0) target[at++] = COMMA;
    target[at++] = OPEN;
    for (let i = row; i < row + stride; i++) {
      if (i > row) target[at++] = COMMA;
      const value = values[i];
      const size = Math.abs(value);
      if (!(size < LARGEST)) return -1;
      // In units of 1e-7, whatever the rounding: zeros at the end are left out.
      const units = Math.round(size * scale) * widen;
      if (value < 0 && units > 0) target[at++] = MINUS;
      let whole: number;
      let fraction: number;
      if (units < 0x7fff_ffff) {
        // Whole-number arithmetic, for everything within 214: that is, nearly always.
        const small = units | 0;
        whole = (small / POSE_SCALE) | 0;
        fraction = (small - whole * POSE_SCALE) | 0;
      } else {
        whole = Math.floor(units / POSE_SCALE);
        fraction = units - whole * POSE_SCALE;
      }
      if (whole < 10) target[at++] = ZERO + whole;
      else at = putWhole(target, at, whole);
      if (fraction === 0) continue;
      target[at++] = DOT;
      const high = (fraction / 10_000) | 0;
      const low = fraction - high * 10_000;
      const first = (high / 100) | 0;
      const second = (high - first * 100) * 2;
      target[at++] = ZERO + first;
      target[at++] = DIGITS[second];
      target[at++] = DIGITS[second + 1];
      if (low > 0) {
        const third = (low / 100) | 0;
        const fourth = (low - third * 100) * 2;
        target[at++] = DIGITS[third * 2];
        target[at++] = DIGITS[third * 2 + 1];
        target[at++] = DIGITS[fourth];
        target[at++] = DIGITS[fourth + 1];
      }
      while (target[at - 1] === ZERO) at--;
    }
    target[at++] = CLOSE;
  }
  target[at++] = CLOSE;
  return at;
}

/** Whole µs, which a clock gives below 0 only where it began in the middle of a replay. */
function putTime(target: Uint8Array, start: number, timeUs: number): number {
  if (timeUs >= 0) return putWhole(target, start, timeUs);
  target[start] = MINUS;
  return putWhole(target, start + 1, -timeUs);
}

function putWhole(target: Uint8Array, start: number, whole: number): number {
  let digits = 1;
  for (let power = 10; power <= whole; power *= 10) digits++;
  let rest = whole;
  for (let at = start + digits - 1; at >= start; at--) {
    const tenth = Math.floor(rest / 10);
    target[at] = ZERO + (rest - tenth * 10);
    rest = tenth;
  }
  return start + digits;
}
