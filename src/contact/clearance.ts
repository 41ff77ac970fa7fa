import { DOFS_PER_FINGER } from '../hand/dofs.js';
import { type ClosingPath, FRAME_STRIDE } from './closing-path.js';
import { THUMB } from './led-thumb.js';
import { BONES } from './path-speeds.js';

/**
 * What is known to be clear from the frames before, so that a finger's whole closing path need not be searched again
 * in every frame.
 *
 * A search leaves, for each bone, spans of curl with a margin: the bone stays that far away in all of the span. The
 * path moves little from one frame to the next, and by how much at most is summed up as `moved`. A span holds as
 * long as the bone has moved less than the span's margin since. The next search of that bone begins at the first
 * span that no longer holds.
 */
export interface Clearance {
  /** Curl at which span k of each bone begins: BONES × MAX_SPANS. It ends where the next begins. */
  readonly begin: Float64Array;
  /** The bone is clear in the span while its `moved` is less than this and its allowance together. */
  readonly validUntil: Float64Array;
  /** Spans of each bone; 0: nothing is known. */
  readonly count: Int32Array;
  /** How far each bone has moved at most since the beginning, at any curl, metres. */
  readonly moved: Float64Array;
  /** The chain's frame in the shape's frame, deviation and bend of the last search. */
  readonly frame: Float64Array;
  readonly deviation: Float64Array;
  /** How far the thumb's rows had turned then (led-thumb.ts). */
  readonly turned: Float64Array;
  bend: number;
}

/** Enough for a search that closes in on its contact; a longer one is only known up to there. */
const MAX_SPANS = 32;

export const createClearance = (): Clearance => ({
  begin: new Float64Array(BONES * MAX_SPANS),
  validUntil: new Float64Array(BONES * MAX_SPANS),
  count: new Int32Array(BONES),
  moved: new Float64Array(BONES),
  frame: new Float64Array(FRAME_STRIDE),
  deviation: new Float64Array(DOFS_PER_FINGER),
  turned: new Float64Array(DOFS_PER_FINGER),
  bend: 0,
});

/** Forgets everything: the hand or the shape is another. */
export function forget(clearance: Clearance): void {
  clearance.count.fill(0);
  clearance.moved.fill(0);
}

/** Takes the finger's path into account: adds up how far every bone can have moved since the last call. */
export function follow(clearance: Clearance, path: ClosingPath, finger: number, frame: Float64Array): void {
  const { chainLengths } = path.skeleton;
  const was = clearance.frame;
  let shift = 0;
  let turn = 0;
  for (let i = 0; i < FRAME_STRIDE; i++) {
    const change = frame[i] - was[i];
    if (i < 3) shift += change * change;
    else turn += change * change;
    was[i] = frame[i];
  }
  shift = Math.sqrt(shift);
  turn = Math.sqrt(turn);

  const bend = path.bend[finger];
  const before = clearance.bend;
  // Both weights are made of two straight pieces, so they differ most where one of them bends.
  const low = Math.min(bend, before);
  const high = Math.max(bend, before);
  const reweight = Math.max(1 - low / high, 1 - (1 - high) / (1 - low));
  clearance.bend = bend;

  let reach = 0;
  let turned = 0;
  for (let bone = 0; bone < BONES; bone++) {
    const dof = bone === 0 ? 0 : bone + 1;
    const deviation = path.deviation[finger * DOFS_PER_FINGER + dof];
    const change = Math.abs(deviation - clearance.deviation[dof]);
    turned += change + (deviation === 0 ? 0 : Math.abs(deviation) * reweight);
    if (finger === THUMB) turned += path.turned[dof] - clearance.turned[dof];
    if (bone === 0) {
      // Abduction keeps its deviation all along.
      turned += Math.abs(path.deviation[finger * DOFS_PER_FINGER + 1] - clearance.deviation[1]);
      if (finger === THUMB) turned += path.turned[1] - clearance.turned[1];
    }
    reach += chainLengths[finger * BONES + bone];
    // Every joint so far turns all that comes after it: no lever is longer than the chain up to here.
    clearance.moved[bone] += shift + (turn + turned) * reach;
  }
  for (let dof = 0; dof < DOFS_PER_FINGER; dof++) {
    clearance.deviation[dof] = path.deviation[finger * DOFS_PER_FINGER + dof];
    clearance.turned[dof] = path.turned[dof];
  }
}

/** True if the bone is known not to touch the shape with the finger open. */
export const isClearOpen = ({ count, moved, validUntil }: Clearance, bone: number): boolean =>
  count[bone] > 1 && moved[bone] < validUntil[bone * MAX_SPANS];

/**
 * Where the search of a bone begins: the first curl that is not known to be clear; 0 if nothing is known. What was
 * known beyond it is forgotten, for it is looked at again. The last span is always looked at again: nothing says where
 * it ends.
 * @param allowance depth that does not count as touching, metres
 */
export function firstUnknown(clearance: Clearance, bone: number, allowance: number): number {
  const count = clearance.count[bone];
  if (count === 0) return 0;
  const first = bone * MAX_SPANS;
  const moved = clearance.moved[bone] - allowance;
  let span = 0;
  // Written so that a NaN ends it.
  while (span < count - 1 && moved < clearance.validUntil[first + span]) span++;
  clearance.count[bone] = span;
  return clearance.begin[first + span];
}

/**
 * Notes that a bone stays `margin` away, metres, negative if it only goes no deeper than that, from `curl` on, where
 * it was looked at, to the next time.
 */
export function addSpan(clearance: Clearance, bone: number, curl: number, margin: number): void {
  const count = clearance.count[bone];
  if (count === MAX_SPANS) return;
  const at = bone * MAX_SPANS + count;
  clearance.begin[at] = curl;
  // When there is no room for the next span, nobody knows where this one ends.
  clearance.validUntil[at] =
    count === MAX_SPANS - 1 ? Number.NEGATIVE_INFINITY : clearance.moved[bone] + margin;
  clearance.count[bone] = count + 1;
}
