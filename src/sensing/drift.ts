import type { Channel } from './channels.js';

/**
 * Follows what moves slowly while a glove is worn: a string that stretches, a glove that slips. Both shift the
 * readings of a channel, so a shift is all that is followed, within bounds, and never faster than CREEP_PER_S.
 *
 * The range that a finger used over the last windows is compared with the fitted one. A reading beyond an end is
 * sure evidence. Otherwise only a hand that went nearly all the way from open to closed counts, and what is left of
 * its range at both ends is shared evenly: a finger that stays half closed says nothing.
 */
export interface Drift {
  /** Counts of every channel with its shift taken out; the input itself while there are no shifts. */
  correct(counts: Uint16Array, dtS: number): Uint16Array;
  /** The hand is held open now: what is read counts as open from here on. Splay: as at rest. */
  rezero(): void;
  /** All that it has seen and followed, for `adopt`; what is not finite is not known yet. */
  remember(): number[];
  /** Goes on from there; a memory of other channels is not taken. @param memory null where not finite */
  adopt(memory: readonly (number | null)[]): void;
  /** Present shift of each channel, part of its range. */
  readonly shifts: Float64Array;
}

export interface DriftOptions {
  /** Follow slow shifts. */
  readonly follow: boolean;
  /** A fist, then the open hand held still, is taken as open. */
  readonly rezeroGesture: boolean;
}

/** The hand is looked at this often, s. */
const LOOK_S = 0.02;
/** Smooths the position looked at: spikes and jumps do not count. */
const SMOOTH_S = 0.15;
const WINDOW_S = 15;
/** Part of the range a second. */
const CREEP_PER_S = 0.004;
/** Farthest that is followed by itself; beyond it health says that the channel drifts. Part of the range. */
const FOLLOWED = 0.12;
/** Farthest that a rezero asked for by message goes. */
const REZEROED = 0.3;
/** The range used, part of the fitted one, that says something of both ends. */
const WHOLE = [0.85, 1.15] as const;
/** Not every open hand is quite open. */
const TOLERATED = 0.015;
/** The gesture: a fist not longer ago than this, then still and about open for so long. */
const FIST_AGO_S = 4;
const FIST = 0.75;
const ABOUT_OPEN = 0.25;
const STILL_PER_S = 0.08;
const OPEN_FOR_S = 1.5;

/**
 * @param channels as compiled; those of fingers are followed, but not sticks, controls and the wrist
 * @param unusable per channel, 1 while health gives it up: a broken wire is not drift
 */
export function createDrift(
  channels: readonly Channel[],
  options: DriftOptions,
  unusable: Uint8Array = new Uint8Array(channels.length),
): Drift {
  const n = channels.length;
  const followed = channels.flatMap((c, i) =>
    c.source >= 0 && (c.kind === 'curl' || c.kind === 'joint') && c.closed !== c.open ? [i] : [],
  );
  const splays = channels.flatMap((c, i) => (c.source >= 0 && c.kind === 'splay' && c.finger > 0 ? [i] : []));
  const moved = [...followed, ...splays];
  const span = Float64Array.from(channels, (c) => c.closed - c.open || 1);
  const zero = Float64Array.from(channels, (c) =>
    c.kind === 'splay' ? (c.profile.centre ?? (c.open + c.closed) / 2) : c.open,
  );
  const full = Float64Array.from(channels, (c) => c.lookup.maxCounts);
  const corrected = new Uint16Array(n);
  const shifts = new Float64Array(n);
  const shiftCounts = new Float64Array(n);
  const smooth = new Float64Array(n).fill(Number.NaN);
  const low = new Float64Array(n);
  const high = new Float64Array(n);
  const previousLow = new Float64Array(n).fill(Number.POSITIVE_INFINITY);
  const previousHigh = new Float64Array(n).fill(Number.NEGATIVE_INFINITY);
  // Running numbers in an array: as variables of the closure each would be a new object at every change.
  const clock = new Float64Array(4);
  const [LOOK, WINDOW, SINCE_FIST, OPEN_FOR] = [0, 1, 2, 3];
  clock[SINCE_FIST] = Number.POSITIVE_INFINITY;
  let shifted = false;

  function setShift(i: number, shift: number, bound: number): void {
    shifts[i] = Math.min(bound, Math.max(-bound, shift));
    shiftCounts[i] = Math.round(shifts[i] * span[i]);
    if (shiftCounts[i] !== 0) shifted = true;
  }

  function beginWindow(i: number): void {
    previousLow[i] = low[i];
    previousHigh[i] = high[i];
    low[i] = smooth[i];
    high[i] = smooth[i];
  }

  function look(counts: Uint16Array, dtS: number): void {
    const a = dtS / (SMOOTH_S + dtS);
    let fist = followed.length > 0;
    let open = followed.length > 0;
    for (let k = 0; k < moved.length; k++) {
      const i = moved[k];
      if (unusable[i] !== 0) continue;
      const at = (counts[i] - zero[i]) / span[i];
      if (Number.isNaN(smooth[i])) {
        smooth[i] = at;
        low[i] = at;
        high[i] = at;
      }
      const step = a * (at - smooth[i]);
      smooth[i] += step;
      if (k >= followed.length) continue;
      if (smooth[i] < low[i]) low[i] = smooth[i];
      if (smooth[i] > high[i]) high[i] = smooth[i];
      const position = smooth[i] - shifts[i];
      if (position < FIST) fist = false;
      if (position > ABOUT_OPEN || Math.abs(step) > STILL_PER_S * dtS) open = false;
    }
    if (options.follow) follow(dtS);
    if (!options.rezeroGesture) return;
    if (fist) clock[SINCE_FIST] = 0;
    else clock[SINCE_FIST] += dtS;
    clock[OPEN_FOR] = open && clock[SINCE_FIST] < FIST_AGO_S + OPEN_FOR_S ? clock[OPEN_FOR] + dtS : 0;
    if (clock[OPEN_FOR] < OPEN_FOR_S) return;
    clock[SINCE_FIST] = Number.POSITIVE_INFINITY;
    clock[OPEN_FOR] = 0;
    takeAsOpen(FOLLOWED, followed);
  }

  function follow(dtS: number): void {
    for (let k = 0; k < followed.length; k++) {
      const i = followed[k];
      if (unusable[i] !== 0 || Number.isNaN(smooth[i])) continue;
      const lowest = Math.min(previousLow[i], low[i]);
      const highest = Math.max(previousHigh[i], high[i]);
      const used = highest - lowest;
      let target = shifts[i];
      if (used >= WHOLE[0] && used <= WHOLE[1]) target = (lowest + highest - 1) / 2;
      else if (used < WHOLE[0]) {
        if (lowest - shifts[i] < -TOLERATED) target = lowest + TOLERATED;
        else if (highest - shifts[i] > 1 + TOLERATED) target = highest - 1 - TOLERATED;
      }
      const step = CREEP_PER_S * dtS;
      const way = Math.min(step, Math.max(-step, target - shifts[i]));
      // A rezero may have gone farther than is followed: then it is left alone.
      if (Math.abs(shifts[i]) <= FOLLOWED && way !== 0) setShift(i, shifts[i] + way, FOLLOWED);
    }
  }

  function takeAsOpen(bound: number, which: readonly number[]): void {
    for (const i of which) {
      if (Number.isNaN(smooth[i])) continue;
      setShift(i, smooth[i], bound);
      // What was used before says nothing any more.
      low[i] = smooth[i];
      high[i] = smooth[i];
      previousLow[i] = Number.POSITIVE_INFINITY;
      previousHigh[i] = Number.NEGATIVE_INFINITY;
    }
  }

  return {
    shifts,
    correct(counts, dtS) {
      clock[LOOK] += dtS;
      if (clock[LOOK] >= LOOK_S) {
        look(counts, clock[LOOK]);
        clock[WINDOW] += clock[LOOK];
        clock[LOOK] = 0;
        if (clock[WINDOW] >= WINDOW_S) {
          clock[WINDOW] = 0;
          for (let k = 0; k < followed.length; k++) beginWindow(followed[k]);
        }
      }
      if (!shifted) return counts;
      takeOut(counts, shiftCounts, full, corrected);
      return corrected;
    },
    rezero() {
      takeAsOpen(REZEROED, moved);
    },
    remember: () =>
      [shifts, smooth, low, high, previousLow, previousHigh, clock].flatMap((part) => [...part]),
    adopt(memory) {
      if (memory.length !== 6 * n + clock.length) return;
      const at = (part: number, i: number, unknown: number) => memory[part * n + i] ?? unknown;
      for (const i of moved) {
        setShift(i, at(0, i, 0), REZEROED);
        smooth[i] = at(1, i, Number.NaN);
        low[i] = at(2, i, 0);
        high[i] = at(3, i, 0);
        previousLow[i] = at(4, i, Number.POSITIVE_INFINITY);
        previousHigh[i] = at(5, i, Number.NEGATIVE_INFINITY);
      }
      for (let i = 0; i < clock.length; i++) clock[i] = at(6, i, Number.POSITIVE_INFINITY);
    },
  };
}

/** Counts without their shifts, over arrays alone, so that it compiles to one loop. */
function takeOut(
  counts: Uint16Array,
  shifts: Float64Array,
  full: Float64Array,
  corrected: Uint16Array,
): void {
  for (let i = 0; i < corrected.length; i++) {
    corrected[i] = Math.max(0, Math.min(counts[i] - shifts[i], full[i]));
  }
}
