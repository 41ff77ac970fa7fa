import { FINGERS } from '../hand/joints.js';
import { type Clearance, createClearance, forget } from './clearance.js';

import { createHullSeed, type HullSeed } from './hull-distance.js';
import { BONES } from './path-speeds.js';

/** What is kept of one shape from frame to frame. Only speed depends on it. */
export interface Memory {
  /** Where the search on each bone starts, 0..1: 5 × BONES along the path, as many from PRESENT on for the pose. */
  readonly hints: Float64Array;
  /** Where the search on a hull starts, likewise. */
  readonly seeds: readonly HullSeed[];
  /**
   * Of each bone in the pose it was in when it was last looked at: how far away it was at least, and its two joints,
   * all in metres and the shape's frame: 5 × BONES × SEEN_STRIDE.
   */
  readonly seen: Float64Array;
  /** What of each finger's path is known to be clear. */
  readonly clearances: readonly Clearance[];
}

/** Where the hints and seeds of the present pose begin. */
export const PRESENT = FINGERS.length * BONES;

export const SEEN_STRIDE = 7;

export const createMemory = (): Memory => ({
  hints: new Float64Array(2 * PRESENT).fill(0.5),
  seeds: Array.from({ length: 2 * PRESENT }, createHullSeed),
  seen: new Float64Array(PRESENT * SEEN_STRIDE).fill(Number.NEGATIVE_INFINITY),
  clearances: FINGERS.map(createClearance),
});

/** Call it when the shape itself, or the skeleton, has changed. */
export function forgetAll(memory: Memory): void {
  for (let finger = 0; finger < FINGERS.length; finger++) forget(memory.clearances[finger]);
  memory.seen.fill(Number.NEGATIVE_INFINITY);
  for (const seed of memory.seeds) seed.set(createHullSeed());
}
