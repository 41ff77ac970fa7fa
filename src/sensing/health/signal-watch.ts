import type { SignalBounds } from './signal-bounds.js';
import { runOfSilence } from './silence.js';

/**
 * What every sample needs, and no more: the statistics of each channel, whether its reading is out of the ordinary,
 * and how long a silence its own noise makes incredible. A quiet channel costs one pass of `look`.
 *
 * Noise: its variance is -E[e(n) e(n-1)] / 4, e the second difference. For white noise that is the variance, and smooth
 * motion, whose second differences agree in sign, makes it smaller, never larger.
 */
export interface SignalWatch {
  /** Per channel, 1 while anything is or was lately out of the ordinary: it then has to be judged at every sample. */
  readonly stirred: Uint8Array;
  /** Per channel, the reading before this one where this one has to be judged, else -1. */
  readonly before: Int32Array;
  /** Per channel that has to be judged, 1: its speed has changed by more than a finger can gain. */
  readonly bent: Uint8Array;
  /** Starts over from a reading. */
  begin(channel: number, x: number, nowS: number): void;
  /** Takes a sample. @returns how many channels have to be judged */
  look(counts: Uint16Array, dtS: number, nowS: number): number;
  /** Takes a judged reading into the range used in this window; `look` does it for the others. */
  widen(channel: number, x: number): void;
  /** Learns how quiet the channel is, if it now shows noise alone. @param trusted nothing else is wrong with it */
  learn(channel: number, trusted: boolean): void;
  last(channel: number): number;
  /** The step before the newest one, counts. */
  stepBefore(channel: number): number;
  /** Of its noise, counts squared. */
  variance(channel: number): number;
  /** Standard deviation of its noise at its quietest, counts; not a number until it is learnt. */
  quietNoise(channel: number): number;
  /** Share of samples that zigzag: some half of them in noise, hardly any in motion. */
  busy(channel: number): number;
  silentS(channel: number, nowS: number): number;
  /**
   * For so many samples that its own noise makes it incredible (silence.ts), and more than three times as long as any
   * silence that ended by itself.
   */
  silentTooLong(channel: number): boolean;
  /** Readings that differed from the one before. */
  changes(channel: number): number;
  /** It has changed so often that it is known to live. */
  alive(channel: number): boolean;
  /** True: takes it for alive. False: it has to show it again. */
  setAlive(channel: number, alive: boolean): void;
  /** The range used in this window. */
  lowest(channel: number): number;
  highest(channel: number): number;
  beginWindow(channel: number): void;
}

const NOISE_TAU_S = 0.06;
const NOISE_TAU_SAMPLES = 12;
const LIVELY_CHANGES = 50;
/** Noise is learnt from so many changes at least, when this part of them turn back: motion goes on, noise turns. */
const LEARN_CHANGES = 6;
const LEARN_TURNS = 0.5;
/** Noise of a second difference beside that of a step: sqrt(6) to sqrt(2), less what the margin has to spare. */
const BEND_NOISE = 1.5;
/** What a decaying mean decays to: at 0 it would end in denormal numbers, some fifty times as slow. */
const TINY = 1e-12;

// Places of a channel's numbers in `hot`, where they lie side by side. Not exported: what is exported is not taken for
// a constant by the compiler but read at every use, which costs `look` half as much again.
const H_LAST = 0;
const H_STEP = 1;
/** Last second difference. */
const H_BEND = 2;
const H_VARIANCE = 3;
/** Mean square of the second difference: 6 variances for noise alone, more when the finger moves. */
const H_ENERGY = 4;
/** Share of samples that zigzag by more than H_ZIGZAG. */
const H_BUSY = 5;
const H_CHANGES = 6;
/** Equal readings in a row, the longest such run that ended by itself, and the one that is incredible. */
const H_RUN = 7;
const H_LONGEST = 8;
const H_RUN_LIMIT = 9;
const H_CHANGED_S = 10;
const H_LOWEST = 11;
const H_HIGHEST = 12;
/** From SignalBounds. */
const H_MARGIN = 13;
const H_RATE = 14;
const H_ZIGZAG = 15;
const H_NOISY = 16;
const H_LOW = 17;
const H_HIGH = 18;
/** Changes since the noise was last learnt, and how many of them took back the one before. */
const H_RECENT = 19;
const H_TURNS = 20;
/** From SignalBounds. */
const H_QUICK = 21;
const HOT = 22;

export function createSignalWatch(bounds: SignalBounds): SignalWatch {
  const n = bounds.full.length;
  const { watched } = bounds;
  const hot = new Float64Array(n * HOT);
  const stirred = new Uint8Array(n);
  const before = new Int32Array(n);
  const bent = new Uint8Array(n);
  const quietVariance = new Float64Array(n).fill(Number.NaN);
  const steadyVariance = new Float64Array(n);

  for (let i = 0; i < n; i++) {
    const h = i * HOT;
    hot[h + H_MARGIN] = bounds.stepMargin[i];
    hot[h + H_RATE] = bounds.fastest[i];
    hot[h + H_QUICK] = bounds.quickest[i];
    hot[h + H_ZIGZAG] = bounds.zigzag[i];
    hot[h + H_NOISY] = bounds.noisyVariance[i];
    hot[h + H_LOW] = bounds.low[i];
    hot[h + H_HIGH] = bounds.high[i];
    hot[h + H_RUN_LIMIT] = Number.POSITIVE_INFINITY;
    beginWindow(i);
  }

  function beginWindow(i: number): void {
    hot[i * HOT + H_LOWEST] = Number.POSITIVE_INFINITY;
    hot[i * HOT + H_HIGHEST] = Number.NEGATIVE_INFINITY;
  }

  const alive = (i: number) => hot[i * HOT + H_CHANGES] >= LIVELY_CHANGES;

  return {
    stirred,
    before,
    bent,
    begin(i, x, nowS) {
      const h = i * HOT;
      hot[h + H_LAST] = x;
      hot[h + H_STEP] = 0;
      hot[h + H_BEND] = 0;
      hot[h + H_RUN] = 0;
      hot[h + H_CHANGED_S] = nowS;
    },
    look: (counts, dtS, nowS) => look(hot, watched, counts, stirred, before, bent, dtS, nowS),
    widen: (i, x) => widen(hot, i * HOT, x),
    learn(i, trusted) {
      const h = i * HOT;
      if (hot[h + H_RECENT] < LEARN_CHANGES) return;
      const turning = hot[h + H_TURNS] >= LEARN_TURNS * hot[h + H_RECENT];
      hot[h + H_RECENT] = 0;
      hot[h + H_TURNS] = 0;
      // A sensor without noise climbs its counts like stairs, which looks like some 0.4 counts of it.
      const variance = hot[h + H_VARIANCE];
      const noiseAlone = turning && variance > hot[h + H_ENERGY] / 12;
      if (!noiseAlone || !trusted || !alive(i) || hot[h + H_RUN] >= 8) return;
      // Rounding to counts adds 1/12 of its own. The quietest stretch rises slowly, so that one lucky stretch
      // does not last forever.
      const net = Math.max(0, variance - 1 / 12);
      const first = Number.isNaN(quietVariance[i]);
      steadyVariance[i] = first ? net : steadyVariance[i] + 0.12 * (net - steadyVariance[i]);
      quietVariance[i] = first ? net : Math.min(steadyVariance[i], quietVariance[i] * 1.01);
      hot[h + H_RUN_LIMIT] = Math.max(3 * hot[h + H_LONGEST] + 24, runOfSilence(quietVariance[i]));
    },
    last: (i) => hot[i * HOT + H_LAST],
    stepBefore: (i) => hot[i * HOT + H_STEP] - hot[i * HOT + H_BEND],
    variance: (i) => hot[i * HOT + H_VARIANCE],
    quietNoise: (i) => Math.sqrt(quietVariance[i]),
    busy: (i) => hot[i * HOT + H_BUSY],
    silentS: (i, nowS) => nowS - hot[i * HOT + H_CHANGED_S],
    silentTooLong: (i) => hot[i * HOT + H_RUN] >= hot[i * HOT + H_RUN_LIMIT],
    changes: (i) => hot[i * HOT + H_CHANGES],
    alive,
    setAlive(i, lives) {
      hot[i * HOT + H_CHANGES] = lives ? LIVELY_CHANGES : 0;
    },
    lowest: (i) => hot[i * HOT + H_LOWEST],
    highest: (i) => hot[i * HOT + H_HIGHEST],
    beginWindow,
  };
}

/**
 * Over arrays alone, so that it compiles to one loop.
 * @param before written: the reading before, of a channel that has to be judged, else -1
 * @param bent written, for a channel that has to be judged
 */
function look(
  hot: Float64Array,
  watched: Int16Array,
  counts: Uint16Array,
  stirred: Uint8Array,
  before: Int32Array,
  bent: Uint8Array,
  dtS: number,
  nowS: number,
): number {
  const tau = Math.max(NOISE_TAU_S, NOISE_TAU_SAMPLES * dtS);
  const a = dtS / (tau + dtS);
  let odd = 0;
  for (let k = 0; k < watched.length; k++) {
    const i = watched[k];
    const h = i * HOT;
    const x = counts[i];
    const last = hot[h + H_LAST];
    const step = x - last;
    let variance = hot[h + H_VARIANCE];
    let run = hot[h + H_RUN];
    let turned = false;
    // A repeat tells nothing of noise: some gloves sample slower than they send.
    if (step === 0) {
      run++;
    } else {
      const bend = step - hot[h + H_STEP];
      const product = bend * hot[h + H_BEND];
      // Of a sensor that is sampled slower than its readings are sent, a step took as long as its repeats.
      const sinceS = (run + 1) * dtS;
      const bendable = BEND_NOISE * hot[h + H_MARGIN] + hot[h + H_QUICK] * sinceS * sinceS;
      turned = bend > bendable || bend < -bendable;
      const limit = hot[h + H_ZIGZAG];
      const zigzag = (bend > limit || bend < -limit) && product < 0 ? a : 0;
      const energy = hot[h + H_ENERGY];
      const busy = hot[h + H_BUSY];
      variance += a * (-0.25 * product - variance);
      hot[h + H_RECENT]++;
      if (step * hot[h + H_STEP] < 0) hot[h + H_TURNS]++;
      hot[h + H_STEP] = step;
      hot[h + H_BEND] = bend;
      hot[h + H_VARIANCE] = variance;
      hot[h + H_ENERGY] = energy + a * (bend * bend - energy);
      hot[h + H_BUSY] = busy + (zigzag - a * (busy - TINY));
      hot[h + H_CHANGES]++;
      if (run > hot[h + H_LONGEST] && stirred[i] === 0) hot[h + H_LONGEST] = run;
      run = 0;
      hot[h + H_CHANGED_S] = nowS;
      hot[h + H_LAST] = x;
    }
    hot[h + H_RUN] = run;
    const allowed = hot[h + H_MARGIN] + hot[h + H_RATE] * dtS;
    if (
      stirred[i] !== 0 ||
      turned ||
      step > allowed ||
      step < -allowed ||
      x <= hot[h + H_LOW] ||
      x >= hot[h + H_HIGH] ||
      variance > hot[h + H_NOISY] ||
      run >= hot[h + H_RUN_LIMIT]
    ) {
      before[i] = last;
      bent[i] = turned ? 1 : 0;
      odd++;
    } else {
      before[i] = -1;
      widen(hot, h, x);
    }
  }
  return odd;
}

/** The range used in this window. */
function widen(hot: Float64Array, h: number, x: number): void {
  if (x < hot[h + H_LOWEST]) hot[h + H_LOWEST] = x;
  if (x > hot[h + H_HIGHEST]) hot[h + H_HIGHEST] = x;
}
