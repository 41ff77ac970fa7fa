import { POSE_STRIDE } from '../hand/joints.js';
import { CHAIN_START } from '../hand/skeleton.js';
import { boneDistance, createBoneDistance, TO_ADVANCE, TO_REPORT } from './bone.js';
import type { ClosingPath } from './closing-path.js';
import { type Memory, PRESENT, SEEN_STRIDE } from './memory.js';
import { BONES } from './path-speeds.js';
import { type Placement, toShape } from './placement.js';
import type { CompiledShape } from './shapes.js';

// Working space of one call.
const points = new Float64Array((BONES + 1) * 3);
const distance = createBoneDistance();
const atLeast = new Float64Array(BONES);
/** 1: looked at in this pose. */
const looked = new Uint8Array(BONES);

/**
 * How deep a finger is in the pose it is in; metres, negative outside.
 *
 * A bone of which it is known from frames before that it cannot be the deepest now is not looked at.
 * @param allowance of each bone: depth that does not count
 * @param deepest a depth less than this is of no interest, and this is given then
 */
export function presentDepth(
  path: ClosingPath,
  finger: number,
  poses: Float64Array,
  shape: CompiledShape,
  placement: Placement,
  memory: Memory,
  allowance: Float64Array,
  deepest: number,
): number {
  const { radii } = path.skeleton;
  const start = CHAIN_START[finger];
  for (let joint = 0; joint <= BONES; joint++) {
    toShape(placement, poses, (start + joint) * POSE_STRIDE, points, joint * 3, true);
  }
  const first = finger * BONES;
  for (let bone = 0; bone < BONES; bone++) {
    atLeast[bone] = seenAtLeast(memory, first + bone, bone) + allowance[bone];
    looked[bone] = 0;
  }
  let least = -deepest;
  // Each at most twice: roughly, and closely if it may be the deepest.
  for (let round = 0; round < 2 * BONES; round++) {
    let bone = 0;
    // Written so that a NaN is looked at.
    for (let other = 1; other < BONES; other++) {
      if (atLeast[other] < atLeast[bone] || Number.isNaN(atLeast[other])) bone = other;
    }
    if (atLeast[bone] > least) break;
    const at = PRESENT + first + bone;
    const r0 = radii[start + bone];
    const r1 = radii[start + bone + 1];
    const allowed = allowance[bone];
    const part = looked[bone] === 0 ? TO_ADVANCE : TO_REPORT;
    const hint = memory.hints[at];
    const seed = memory.seeds[at];
    boneDistance(shape, points, bone, r0, r1, hint, part, allowed, 0, 0, distance, seed);
    memory.hints[at] = distance.t;
    if (part === TO_ADVANCE) {
      looked[bone] = 1;
      atLeast[bone] = distance.lowerBound + allowed;
      see(memory, first + bone, bone, distance.lowerBound);
    } else {
      least = Math.min(least, distance.distance + allowed);
      atLeast[bone] = Number.POSITIVE_INFINITY;
    }
  }
  return Number.isNaN(least) ? Number.NEGATIVE_INFINITY : -least;
}

/** How far away a bone in `points` is at least: no part of it has moved farther than one of its joints. */
function seenAtLeast({ seen }: Memory, of: number, bone: number): number {
  const from = of * SEEN_STRIDE;
  let square = 0;
  for (let joint = 0; joint < 2; joint++) {
    const was = from + 1 + 3 * joint;
    const now = 3 * (bone + joint);
    const dx = points[now] - seen[was];
    const dy = points[now + 1] - seen[was + 1];
    const dz = points[now + 2] - seen[was + 2];
    square = Math.max(square, dx * dx + dy * dy + dz * dz);
  }
  return seen[from] - Math.sqrt(square);
}

function see({ seen }: Memory, of: number, bone: number, lowerBound: number): void {
  const from = of * SEEN_STRIDE;
  seen[from] = lowerBound;
  for (let k = 0; k < 6; k++) seen[from + 1 + k] = points[3 * bone + k];
}
