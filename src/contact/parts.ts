import type { Shape } from '../protocol/messages.js';
import { MAX_COMPOUND_POINTS } from '../protocol/messages.js';
import { unitQuaternion } from '../protocol/quaternion.js';
import type { ClosingPath } from './closing-path.js';
import { createFingerContact, type FingerContact } from './finger-contact.js';
import { createMemory, forgetAll, type Memory } from './memory.js';
import { composePlacements, type Placement, placeIn } from './placement.js';
import {
  type CompiledShape,
  compileShape,
  isShapeFault,
  type ShapeFault,
  sameShape,
  shapeFault,
} from './shapes.js';
import { LEAST_STEP, meetFinger } from './solver.js';

/**
 * What is touched, as convex parts: a shape that is convex is one part, a compound has several. The solver relies on
 * convexity, so each part is met on its own and the earliest contact counts.
 */
export interface Part {
  readonly shape: CompiledShape;
  /** In the frame of the whole; undefined: the same frame. */
  readonly within: Placement | undefined;
  /** In the space of the poses. */
  readonly placement: Placement;
  readonly memory: Memory;
}

const ORIGIN = [0, 0, 0, 0, 0, 0, 1] as const;

function createPart(shape: CompiledShape, within: Placement | undefined, before: Part | undefined): Part {
  if (before) forgetAll(before.memory);
  return { shape, within, placement: new Float64Array(12), memory: before?.memory ?? createMemory() };
}

/**
 * Prepares what is touched, or says what is wrong with it.
 * @param before parts that are given up for these: their memory is used again
 */
export function compileParts(shape: Shape, before: readonly Part[] = []): Part[] | ShapeFault {
  if (shape.kind !== 'compound') {
    const compiled = compileShape(shape);
    return isShapeFault(compiled) ? compiled : [createPart(compiled, undefined, before[0])];
  }
  const parts: Part[] = [];
  let points = 0;
  for (const [i, part] of shape.parts.entries()) {
    const path = `/shape/parts/${i}`;
    if (part.shape.kind === 'hull') points += part.shape.points.length;
    if (points > MAX_COMPOUND_POINTS) {
      const what = `the hulls of a compound have ${MAX_COMPOUND_POINTS} points at most; give fewer to each.`;
      return shapeFault(`${path}/shape/points`, what);
    }
    const compiled = compileShape(part.shape, `${path}/shape`);
    if (isShapeFault(compiled)) return compiled;
    const turn = unitQuaternion(part.orientation ?? [0, 0, 0, 1]);
    if (typeof turn === 'string') return shapeFault(`${path}/orientation`, turn);
    const within = new Float64Array(12);
    placeIn(within, ORIGIN, 0, [...(part.position ?? [0, 0, 0]), ...turn]);
    parts.push(createPart(compiled, within, before[i]));
  }
  return parts;
}

const same = (a: readonly number[] | undefined, b: readonly number[] | undefined): boolean =>
  a === b || (a !== undefined && b !== undefined && a.every((value, i) => value === b[i]));

/** True if two shapes are the same in every number. */
export function sameParts(a: Shape, b: Shape): boolean {
  if (a.kind !== 'compound') return b.kind !== 'compound' && sameShape(a, b);
  if (b.kind !== 'compound' || a.parts.length !== b.parts.length) return false;
  return a.parts.every((part, i) => {
    const other = b.parts[i];
    return (
      sameShape(part.shape, other.shape) &&
      same(part.position, other.position) &&
      same(part.orientation, other.orientation)
    );
  });
}

/** Brings every part to where the whole is. */
export function placeParts(parts: readonly Part[], whole: Placement): void {
  for (let i = 0; i < parts.length; i++) {
    const { within, placement } = parts[i];
    if (within) composePlacements(placement, whole, within);
    else placement.set(whole);
  }
}

const met = createFingerContact();

/**
 * Finds the first contact of a finger with any part: that of the earliest stop. Its depth is that in the part that
 * the finger is deepest in.
 */
export function meetParts(
  path: ClosingPath,
  finger: number,
  poses: Float64Array,
  parts: readonly Part[],
  out: FingerContact,
): void {
  const { shape, placement, memory } = parts[0];
  meetFinger(path, finger, poses, shape, placement, memory, out);
  for (let i = 1; i < parts.length; i++) {
    const part = parts[i];
    // The stop may still move by a step of the search.
    const upTo = Math.min(1, out.stop + LEAST_STEP);
    meetFinger(path, finger, poses, part.shape, part.placement, part.memory, met, upTo, out.depth);
    const depth = Math.max(out.depth, met.depth);
    if (met.stop < out.stop) copyContact(met, out);
    out.depth = depth;
  }
}

function copyContact(from: FingerContact, to: FingerContact): void {
  to.stop = from.stop;
  to.joint = from.joint;
  to.depthPerCurl = from.depthPerCurl;
  for (let i = 0; i < 3; i++) {
    to.point[i] = from.point[i];
    to.normal[i] = from.normal[i];
  }
}
