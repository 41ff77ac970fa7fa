import { DISBELIEF, type RaisedFaults } from './health/raised-faults.js';
import { OPEN_INPUT, type SignalBounds } from './health/signal-bounds.js';
import type { SignalWatch } from './health/signal-watch.js';
import { BELIEVED_S } from './health/step-gate.js';

/**
 * A wiper that is off: its input's capacitor discharges through the pull-down (docs/wiring.md), so the reading falls
 * towards 0 as e^(-t/RC) until it rails. On a channel whose counts rise with the finger's closing that looks like a finger
 * that opens fast, and a stop behind it would follow; so the fall is told from a finger long before its end:
 *
 *     reading
 *       │──────╮         begins at once: a finger has to gather speed       (ONSET)
 *       │       ╲
 *       │        ╲       halfway in time it is at the geometric mean of its ends; a finger in full motion is nearer to
 *       │         ╲_     the arithmetic one, and one that is let go and comes to rest at `open` well below either (SHAPE)
 *       │  - - - - - ╲__
 *       └──────────────────── 0
 *
 * Where the calibrated range goes down to 0, a finger can do the same, and this is not looked for.
 */
export interface OpenWiperJudge {
  begin(channel: number, x: number): void;
  /** Looks at every channel of a finger; call it once a sample. */
  look(counts: Uint16Array, dtS: number): void;
  /** Of a channel that falls. @returns whether it needs the next sample */
  judge(channel: number, x: number, dtS: number): boolean;
  /** It falls, and is below all that it reads on a finger. */
  isSunk(channel: number, x: number): boolean;
}

/** Readings are taken so often, or every sample if those are slower. */
const TICK_S = 0.0039;
/** 1 / RC, from 250 ms down to 16 ms. */
const SLOWEST_PER_S = 4;
const FASTEST_PER_S = 60;
/** The fall before it began, part of its rate. */
const ONSET = 0.15;
/** It is judged from this much of the fall on, part of the reading at its beginning. */
const LEAST_FALL = 0.5;
const LEAST_S = 0.022;
const LEAST_TICKS = 4;
/** Part of full scale: how surely the asymptote must be known, and how far below 0 a converter that flattens there has it. */
const ASYMPTOTE_ERROR = 0.0125;
const FLATTENED = -0.06;
/** So far (root mean square) may readings be from the exponential, part of its fall, beside their noise. */
const STRAY = 0.008;
const NOISE_ROOM = 1.7;
/** Of rounding to counts and more, counts. */
const LEAST_NOISE = 0.5;
const MOST_TICKS = 40;
/** It is below what it reads on a finger from here on, part of the span; wear shifts readings by less. */
const SUNK = 0.04;

export function createOpenWiperJudge(
  { watchedFingers, lowRail, lowEnd, span, stepMargin, full }: SignalBounds,
  watch: SignalWatch,
  faults: RaisedFaults,
): OpenWiperJudge {
  const n = span.length;
  const looked = watchedFingers.filter((i) => lowRail[i] >= 0);
  const last = new Float64Array(n);
  /** Rate of the fall in the last tick, in the one before that, and before the fall began, 1/s. */
  const rate = new Float64Array(n);
  const earlierRate = new Float64Array(n);
  const rateBefore = new Float64Array(n);
  /** Whole ticks of the fall; their readings and times, s. */
  const ticks = new Uint8Array(n);
  const levels = new Float64Array(n * MOST_TICKS);
  const times = new Float64Array(n * MOST_TICKS);
  const falling = new Uint8Array(n);
  const lowest = new Float64Array(n);
  /** Time for which a reading that fell has been that of a finger. */
  const soundS = new Float64Array(n);
  const clock = new Float64Array(1);

  function noiseOf(i: number): number {
    // The noise at rest is not a number until it is learnt.
    return Math.max(watch.quietNoise(i) || 0, Math.sqrt(Math.max(0, watch.variance(i))), LEAST_NOISE);
  }

  function take(i: number, y: number, passedS: number): void {
    const before = last[i];
    last[i] = y;
    const slow = before * (1 - SLOWEST_PER_S * passedS);
    if (y > slow && !(ticks[i] > 0 && y < slow + 2 * noiseOf(i))) {
      ticks[i] = 0;
      earlierRate[i] = rate[i];
      rate[i] = y < before ? (before - y) / (before * passedS) : 0;
      return;
    }
    const now = Math.log(before / Math.max(y, 0.5)) / passedS;
    const count = ticks[i];
    // The tick in which it began may have seen little of it, and be the last that was slow.
    if (count === 0) rateBefore[i] = Math.min(rate[i], earlierRate[i]);
    earlierRate[i] = rate[i];
    rate[i] = now;
    if (count === MOST_TICKS || falling[i] !== 0) return;
    const at = i * MOST_TICKS + count;
    levels[at] = y;
    times[at] = count === 0 ? 0 : times[at - 1] + passedS;
    ticks[i] = count + 1;
    if (count >= LEAST_TICKS && count % 2 === 0 && isDischarge(i, count)) {
      falling[i] = 1;
      lowest[i] = y;
      soundS[i] = 0;
      watch.stirred[i] = 1;
      faults.disbelieve(i, DISBELIEF.fall, true);
    }
  }

  /**
   * Whether the readings from the first whole tick to this one are those of a capacitor: through the first, the middle
   * and the last goes one exponential, by its own asymptote.
   */
  function isDischarge(i: number, newest: number): boolean {
    const first = i * MOST_TICKS;
    const from = levels[first];
    const to = levels[first + newest];
    const fallS = times[first + newest];
    if (to > (1 - LEAST_FALL) * from || fallS < LEAST_S) return false;
    const middle = levels[first + (newest >> 1)];
    const bend = from + to - 2 * middle;
    const noise = noiseOf(i);
    if (!(2.4 * middle * noise < ASYMPTOTE_ERROR * full[i] * bend)) return false;
    const asymptote = (from * to - middle * middle) / bend;
    if (asymptote > Math.min(OPEN_INPUT * full[i], 0.4 * lowEnd[i]) || asymptote < FLATTENED * full[i])
      return false;
    const perS = Math.log((from - asymptote) / Math.max(to - asymptote, LEAST_NOISE)) / fallS;
    if (perS < SLOWEST_PER_S || perS > FASTEST_PER_S) return false;
    if (rateBefore[i] > ONSET * perS + (2 * noise) / (from * TICK_S)) return false;
    let squares = 0;
    for (let at = first + 1; at < first + newest; at++) {
      const expected = asymptote + (from - asymptote) * Math.exp(-perS * times[at]);
      squares += (levels[at] - expected) ** 2;
    }
    const stray = STRAY * (from - to);
    return squares < (newest - 1) * (stray * stray + NOISE_ROOM * noise * noise);
  }

  return {
    begin(i, x) {
      last[i] = x;
      rate[i] = 0;
      earlierRate[i] = 0;
      ticks[i] = 0;
    },
    look(counts, dtS) {
      clock[0] += dtS;
      if (clock[0] < TICK_S) return;
      const passedS = clock[0];
      clock[0] = 0;
      for (let k = 0; k < looked.length; k++) take(looked[k], counts[looked[k]], passedS);
    },
    judge(i, x, dtS) {
      if (falling[i] === 0) return false;
      // Up again, or at rest where fingers are.
      const risen = x > lowest[i] + stepMargin[i];
      const fell = x < lowest[i];
      if (fell) lowest[i] = x;
      soundS[i] = risen || (!fell && lowest[i] >= lowEnd[i] - SUNK * span[i]) ? soundS[i] + dtS : 0;
      if (soundS[i] < BELIEVED_S) return true;
      falling[i] = 0;
      faults.disbelieve(i, DISBELIEF.fall, false);
      return false;
    },
    isSunk: (i, x) => falling[i] !== 0 && x < lowEnd[i] - SUNK * span[i],
  };
}
