import { CHAIN_START } from '../hand/skeleton.js';
import { boneDistance, createBoneDistance, EXACT, TO_ADVANCE } from './bone.js';
import { addSpan, firstUnknown, follow, isClearOpen } from './clearance.js';
import { type ClosingPath, FRAME_STRIDE, jointsAt, speedFrom } from './closing-path.js';
import { type FingerContact, NO_STOP } from './finger-contact.js';
import type { HullSeed } from './hull-distance.js';
import type { Memory } from './memory.js';
import { BONES } from './path-speeds.js';
import { type Placement, toShape } from './placement.js';
import { presentDepth } from './present-depth.js';
import type { CompiledShape } from './shapes.js';

/**
 * Where one finger first meets one shape on its closing path.
 *
 * Conservative advancement (Mirtich, PhD thesis, UC Berkeley, 1996) on curl: the distance of a bone and a bound of
 * its speed tell how far the finger can close before that bone could touch. Every bone has its own next curl to be
 * looked at; the least of them is looked at next. What earlier frames have shown to be clear, and cannot have come
 * into the way since, is passed over (clearance.ts). So no earlier contact is missed, except a graze that is over
 * within LEAST_STEP and goes less than half a millimetre deep.
 */

/** Part of the way that is safe to go at once: what is left is a margin for the frames to come. */
const SAFE_PART = 0.8;
/** Least advance in curl: near the surface the safe steps become ever smaller. */
export const LEAST_STEP = 0.002;
/**
 * A bone that is inside the shape with the finger open rests on it (an object pressed against the knuckles, the
 * hand on a table): it meets the shape where it goes deeper than that, by this much. Metres.
 */
const REST_MARGIN = 2e-4;
/** Half the step in curl over which the approach to the surface is measured. */
const APPROACH_STEP = 1e-4;

// Working space of one call.
const frame = new Float64Array(FRAME_STRIDE);
const points = new Float64Array((BONES + 1) * 3);
const ahead = new Float64Array((BONES + 1) * 3);
const distance = createBoneDistance();
const due = new Float64Array(BONES);
const lastCurl = new Float64Array(BONES);
const lastGap = new Float64Array(BONES);
const allowance = new Float64Array(BONES);

/**
 * Finds the first contact of a finger.
 *
 * @param path after followPose
 * @param poses the same poses
 * @param placement of the shape in the space of the poses
 * @param memory of this shape and hand
 * @param upTo curl: a contact beyond it is of no interest, and may not be found
 * @param deepest metres: nor is a depth less than this, which is then given
 */
export function meetFinger(
  path: ClosingPath,
  finger: number,
  poses: Float64Array,
  shape: CompiledShape,
  placement: Placement,
  memory: Memory,
  out: FingerContact,
  upTo = 1,
  deepest = Number.NEGATIVE_INFINITY,
): void {
  toShape(placement, path.frames, finger * FRAME_STRIDE, frame, 0, true);
  for (let i = 3; i < FRAME_STRIDE; i += 3) {
    toShape(placement, path.frames, finger * FRAME_STRIDE + i, frame, i, false);
  }
  const bone = firstContact(path, finger, shape, memory, out, upTo);
  out.depth = presentDepth(path, finger, poses, shape, placement, memory, allowance, deepest);
  if (bone < 0) {
    out.stop = NO_STOP;
    out.joint = -1;
    out.depthPerCurl = 0;
    return;
  }
  describe(path, finger, bone, shape, placement, memory, out);
}

/** Sets out.stop and returns the bone that touches, or -1. */
function firstContact(
  path: ClosingPath,
  finger: number,
  shape: CompiledShape,
  memory: Memory,
  out: FingerContact,
  upTo: number,
): number {
  const { radii } = path.skeleton;
  const start = CHAIN_START[finger];
  const { hints, seeds } = memory;
  const clearance = memory.clearances[finger];
  const firstHint = finger * BONES;
  follow(clearance, path, finger, frame);
  let placedAt = -1;
  let placedBones = BONES;
  for (let bone = 0; bone < BONES; bone++) {
    lastCurl[bone] = -1;
    allowance[bone] = 0;
    if (!isClearOpen(clearance, bone)) {
      if (placedAt < 0) jointsAt(path, finger, 0, frame, points);
      placedAt = 0;
      allowance[bone] = allowanceOpen(
        shape,
        start,
        bone,
        radii,
        hints[firstHint + bone],
        seeds[firstHint + bone],
      );
    }
    due[bone] = firstUnknown(clearance, bone, allowance[bone]);
  }

  for (;;) {
    let bone = 0;
    if (due[1] < due[0]) bone = 1;
    if (due[2] < due[bone]) bone = 2;
    const curl = due[bone];
    // Written so that a NaN ends the search too: without numbers the finger is free.
    if (!(curl <= upTo)) return -1;
    if (curl !== placedAt || bone >= placedBones) {
      placedBones = bone + 1;
      jointsAt(path, finger, curl, frame, points, placedBones);
      placedAt = curl;
    }
    const r0 = radii[start + bone];
    const r1 = radii[start + bone + 1];
    const v0 = speedFrom(path, finger, curl, bone);
    const v1 = speedFrom(path, finger, curl, bone + 1);
    const hint = hints[firstHint + bone];
    const allowed = allowance[bone];
    const seed = seeds[firstHint + bone];
    boneDistance(shape, points, bone, r0, r1, hint, TO_ADVANCE, allowed, v0, v1, distance, seed);
    const gap = distance.distance + allowed;
    hints[firstHint + bone] = distance.t;
    if (gap <= 0) {
      const from = lastCurl[bone];
      const before = lastGap[bone];
      // A search that begins in the middle begins in the clear, but for rounding.
      out.stop = from < 0 ? curl : from + ((curl - from) * before) / (before - gap);
      return bone;
    }
    const { safe, lowerBound } = distance;
    const step = Math.max(SAFE_PART * safe, LEAST_STEP);
    // It comes nearer evenly at most, so of the bound there remains the part of the safe way that is not gone.
    const margin =
      step < safe ? (lowerBound + allowed) * (1 - step / safe) - allowed : Number.NEGATIVE_INFINITY;
    addSpan(clearance, bone, curl, margin);
    lastCurl[bone] = curl;
    lastGap[bone] = gap;
    const next = curl + step;
    // Closed is looked at too unless it is surely clear.
    due[bone] = next > 1 && curl < 1 && curl + safe < 1 ? 1 : next;
  }
}

/** Depth that does not count for a bone, given the joints of the open finger in `points`; 0 if it does not rest. */
function allowanceOpen(
  shape: CompiledShape,
  start: number,
  bone: number,
  radii: Float64Array,
  hint: number,
  seed: HullSeed,
): number {
  const r0 = radii[start + bone];
  const r1 = radii[start + bone + 1];
  boneDistance(shape, points, bone, r0, r1, hint, TO_ADVANCE, 0, 0, 0, distance, seed);
  if (!(distance.distance <= 0)) return 0;
  boneDistance(shape, points, bone, r0, r1, distance.t, EXACT, 0, 0, 0, distance, seed);
  return REST_MARGIN - distance.distance;
}

/** Fills in the rest of a contact at out.stop. */
function describe(
  path: ClosingPath,
  finger: number,
  bone: number,
  shape: CompiledShape,
  placement: Placement,
  memory: Memory,
  out: FingerContact,
): void {
  const { radii } = path.skeleton;
  const start = CHAIN_START[finger];
  const r0 = radii[start + bone];
  const r1 = radii[start + bone + 1];
  jointsAt(path, finger, out.stop, frame, points);
  boneDistance(
    shape,
    points,
    bone,
    r0,
    r1,
    memory.hints[finger * BONES + bone],
    EXACT,
    allowance[bone],
    0,
    0,
    distance,
    memory.seeds[finger * BONES + bone],
  );
  const { t, nx, ny, nz } = distance;
  memory.hints[finger * BONES + bone] = t;
  out.joint = start + bone + (t < 0.5 ? 0 : 1);

  const at = bone * 3;
  // From the bone's axis to the surface: its radius there, and what is left of the distance.
  const reach = distance.distance + r0 + t * (r1 - r0);
  const x = points[at] + t * (points[at + 3] - points[at]) - reach * nx;
  const y = points[at + 1] + t * (points[at + 4] - points[at + 1]) - reach * ny;
  const z = points[at + 2] + t * (points[at + 5] - points[at + 2]) - reach * nz;
  for (let row = 0; row < 3; row++) {
    const r = row * 3;
    out.normal[row] = placement[r] * nx + placement[r + 1] * ny + placement[r + 2] * nz;
    out.point[row] = placement[r] * x + placement[r + 1] * y + placement[r + 2] * z + placement[9 + row];
  }

  const from = Math.max(out.stop - APPROACH_STEP, 0);
  const to = Math.min(out.stop + APPROACH_STEP, 1);
  jointsAt(path, finger, from, frame, points);
  jointsAt(path, finger, to, frame, ahead);
  let closer = 0;
  for (let axis = 0; axis < 3; axis++) {
    const first = ahead[at + axis] - points[at + axis];
    const second = ahead[at + 3 + axis] - points[at + 3 + axis];
    closer -= (axis === 0 ? nx : axis === 1 ? ny : nz) * (first + t * (second - first));
  }
  out.depthPerCurl = closer / (to - from);

  // One step of Newton's method: the stop was found on a chord.
  const off = (distance.distance + allowance[bone]) / out.depthPerCurl;
  if (out.stop > 0 && Math.abs(off) < LEAST_STEP) out.stop = Math.min(Math.max(out.stop + off, 0), 1);
}
