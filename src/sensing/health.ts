import { DOFS_PER_FINGER } from '../hand/dofs.js';
import { DOF_MAX, DOF_MIN } from '../hand/limits.js';
import type { Channel } from './channels.js';
import { createRaisedFaults, FAULT_BIT } from './raised-faults.js';
import { runOfSilence } from './silence.js';
import type { Verdict } from './verdicts.js';

/**
 * Channel health while the glove is worn: constant work a sample, windows in device time, nothing allocated
 * unless a verdict changes.
 *
 * What is told apart, and by what:
 * - **gate** (`suspect`): a step that no finger can make, 1500 deg/s (common practice) with a margin. The reading
 *   is held until it is back, or has stood at its new level for SETTLE_S.
 * - **intermittent**: two such steps within a second, or one that lasts; a single spike of a sample or two (a
 *   servo's) is held over and not blamed on a connector.
 * - **railed**: at an end of the converter although the calibrated range stays clear of it.
 * - **dead**: not one count of change for so long that the channel's own noise makes that incredible (silence.ts),
 *   for at least 150 ms, and for three times the longest run that ended by itself.
 * - **noisy**: standard deviation from -E[e(n) e(n-1)] / 4, e the second difference: for white noise that is the
 *   variance, and smooth motion, whose second differences agree in sign, makes it smaller, never larger.
 * - **reversed**: runs far out on the open side, where no finger goes.
 * - **drifting**: both ends of the used range have moved the same way from the fitted ones.
 */
export interface Health {
  /** Per channel, the present verdict; the object is replaced when it changes. */
  readonly verdicts: readonly Verdict[];
  /** Counts the changes of any verdict. */
  readonly version: number;
  /** Per channel, 1: this reading is impossible, hold the last one. */
  readonly suspect: Uint8Array;
  /** Per channel, 1: infer the value from other channels. */
  readonly unusable: Uint8Array;
  /** Number of channels that are suspect or unusable. */
  readonly troubled: number;
  /** Per channel, standard deviation of the noise, counts. */
  noiseCounts(channel: number): number;
  /**
   * What a guided check found that signals alone do not show (verdicts.ts, ONLY_BY_MOVES): counts until the next
   * check, one verdict a channel. A fault that is seen now is named before it.
   */
  adopt(found: readonly Verdict[]): void;
  /** @param dtS device time since the last sample, s; 0 starts the windows afresh */
  update(counts: Uint16Array, dtS: number): void;
}

const MAX_DEG_PER_S = 1500;
const RATE_MARGIN = 1.25;
/** Step that is always allowed, part of the calibrated span: noise and a lost sample. */
const STEP_MARGIN = 0.06;
const SETTLE_S = 0.08;
const REPEAT_S = 1;
const LASTING_S = 0.01;
const LASTING_SAMPLES = 3;
/** A step of this part of the span is called at once; a smaller one may still turn out to be noise. */
const SURE_STEP = 0.4;
const SORT_OUT_S = 0.06;
const INTERMITTENT_CLEAR_S = 2;
const RAIL_S = 0.06;
const RAIL_CLEAR_S = 0.3;
const DEAD_S = 0.15;
const NEVER_ALIVE_S = 5;
const LIVELY_CHANGES = 50;
/** Not in step with any motion. */
const LEARN_S = 0.113;
/** Noise is learnt from so many changes at least, when this part of them turn back: motion goes on, noise turns. */
const LEARN_CHANGES = 6;
const LEARN_TURNS = 0.5;
const NOISE_TAU_S = 0.06;
const NOISE_TAU_SAMPLES = 12;
/** Noise, part of the span: some four times what a plain 12-bit converter in a microcontroller shows. */
const NOISY = 0.006;
const NOISY_CLEAR = 0.004;
/** Beyond this the value is of no use, filtered or not. */
const NOISY_UNUSABLE = 0.03;
const NOISY_S = 0.06;
const NOISY_CLEAR_S = 1;
const NOISY_SAMPLES = 10;
/** Share of samples that zigzag: some half of them in noise, hardly any in motion; less shortly after its onset. */
const BUSY = 0.3;
const BUSY_SOON = 0.2;
const REVERSED_AT = -0.3;
const REVERSED_S = 0.15;
const RANGE_WINDOW_S = 30;
const DRIFT = 0.12;
const DRIFT_OTHER_END = 0.05;
/** Calibrated span, part of the converter, below which range is short, and below which there is no signal. */
const SHORT_RANGE = 0.05;
const NO_RANGE = 0.01;

/** What a decaying mean decays to: at 0 it would end in denormal numbers, some fifty times as slow. */
const TINY = 1e-12;
/** Faults that need no judging at every sample. */
const LASTING_FLAGS = FAULT_BIT.missing | FAULT_BIT.shortRange | FAULT_BIT.drifting;

// Places in the state that every sample needs, per channel.
const H_LAST = 0;
const H_STEP = 1;
/** Last second difference. */
const H_BEND = 2;
const H_VARIANCE = 3;
/** Mean square of the second difference: 6 variances for noise alone, more when the finger moves. */
const H_ENERGY = 4;
/** Share of samples that zigzag by more than H_BUSY_AT. */
const H_BUSY = 5;
const H_CHANGES = 6;
/** Equal readings in a row, the longest such run that ended by itself, and the one that is incredible. */
const H_RUN = 7;
const H_LONGEST = 8;
const H_RUN_LIMIT = 9;
const H_CHANGED_S = 10;
const H_LOWEST = 11;
const H_HIGHEST = 12;
const H_MARGIN = 13;
const H_RATE = 14;
const H_BUSY_AT = 15;
const H_NOISY_AT = 16;
const H_LOW = 17;
const H_HIGH = 18;
/** Changes since the noise was last learnt, and how many of them took back the one before. */
const H_RECENT = 19;
const H_TURNS = 20;
const HOT = 21;

// Running times, s.
const NOW = 0;
const LEARN = 1;
const WINDOW = 2;
const CLOCKS = 3;

/** Fastest change of a channel that its wearer can make, part of the calibrated span a second. */
function fastest({ kind, finger, part }: Channel): number {
  if (kind === 'curl') return (MAX_DEG_PER_S / 90) * RATE_MARGIN;
  if (kind === 'splay') return (MAX_DEG_PER_S / 30) * RATE_MARGIN;
  if (kind === 'joint') {
    const dof = finger * DOFS_PER_FINGER + part;
    const rangeDeg = ((DOF_MAX[dof] - DOF_MIN[dof]) * 180) / Math.PI;
    return (MAX_DEG_PER_S / rangeDeg) * RATE_MARGIN;
  }
  // A stick or trigger that springs back.
  return 120;
}

export function createHealth(channels: readonly Channel[]): Health {
  const n = channels.length;
  const array = () => new Float64Array(n);
  const suspect = new Uint8Array(n);
  const faults = createRaisedFaults(n);
  const { verdicts, unusable, flags } = faults;

  // Constants of each channel.
  const watched = Int16Array.from(channels.flatMap((channel, i) => (isWatched(channel) ? [i] : [])));
  const ofFinger = Uint8Array.from(channels, (c) => (c.finger >= 0 ? 1 : 0));
  const full = Float64Array.from(channels, (c) => c.lookup.maxCounts);
  const span = Float64Array.from(channels, (c) => Math.max(1, Math.abs(c.closed - c.open)));
  const direction = Float64Array.from(channels, (c) => (c.closed < c.open ? -1 : 1));
  const open = Float64Array.from(channels, (c) => c.open);
  const railWidth = Float64Array.from(channels, (_, i) => Math.floor(full[i] / 2000));
  const clear = Float64Array.from(channels, (_, i) => Math.max(0.08 * span[i], 0.02 * full[i]));
  // Counts at or below / above which a reading is at a rail; out of reach when the fitted range goes there.
  const lowRail = Float64Array.from(channels, (c, i) =>
    Math.min(c.open, c.closed) > clear[i] ? railWidth[i] : -1,
  );
  const highRail = Float64Array.from(channels, (c, i) =>
    Math.max(c.open, c.closed) < full[i] - clear[i] ? full[i] - railWidth[i] : full[i] + 1,
  );

  // State of each channel. What every sample needs lies side by side in `hot`, in the order of the H_ names.
  const hot = new Float64Array(n * HOT);
  for (const [i, channel] of channels.entries()) {
    const h = i * HOT;
    hot[h + H_MARGIN] = STEP_MARGIN * span[i] + 2;
    hot[h + H_RATE] = fastest(channel) * span[i];
    hot[h + H_BUSY_AT] = Math.max(1.5 * NOISY * span[i], 3);
    hot[h + H_NOISY_AT] = Math.max(NOISY * span[i], 1.5) ** 2;
    hot[h + H_RUN_LIMIT] = Number.POSITIVE_INFINITY;
    hot[h + H_LOWEST] = Number.POSITIVE_INFINITY;
    hot[h + H_HIGHEST] = Number.NEGATIVE_INFINITY;
    // Between these counts a reading is neither at an end nor on the wrong side of open.
    const wrong = open[i] + REVERSED_AT * span[i] * direction[i];
    const upwards = direction[i] > 0;
    hot[h + H_LOW] = Math.max(railWidth[i], lowRail[i], ofFinger[i] && upwards ? wrong : -1);
    hot[h + H_HIGH] = Math.min(
      full[i] - railWidth[i],
      highRail[i],
      ofFinger[i] && !upwards ? wrong : full[i] + 1,
    );
  }
  /** 1 while anything is or was lately out of the ordinary: the sample then goes through every judge. */
  const stirred = new Uint8Array(n);
  /** The reading before this one where this one has to be examined, else -1. */
  const before = new Int32Array(n);
  const quietVariance = array().fill(Number.NaN);
  const steadyVariance = array();
  const anchor = array();
  const awayS = array();
  const awaySamples = array();
  const settledS = array();
  const biggestStep = array();
  const onset = array().fill(Number.NEGATIVE_INFINITY);
  const earlierOnset = array().fill(Number.NEGATIVE_INFINITY);
  const pendingS = array();
  const railS = array();
  const offRailS = array();
  const noisyS = array();
  const reversedS = array();
  const rightWayS = array();
  const clock = new Float64Array(CLOCKS);

  let troubled = 0;
  const watchedFingers = watched.filter((i) => ofFinger[i] !== 0);

  for (const [i, channel] of channels.entries()) {
    if (channel.source < 0) {
      faults.raise(i, 'missing', false, `${channel.role} is in the profile, but the glove does not send it`);
      continue;
    }
    const part = Math.abs(channel.closed - channel.open) / full[i];
    if (part < SHORT_RANGE && channel.kind !== 'wrist') {
      faults.raise(i, 'shortRange', part >= NO_RANGE, `open to closed is ${percent(part)} of the converter`);
    }
  }

  count();

  function count(): void {
    troubled = 0;
    for (let i = 0; i < n; i++) troubled += suspect[i] | unusable[i];
  }

  function begin(i: number, x: number): void {
    const h = i * HOT;
    hot[h + H_LAST] = x;
    hot[h + H_STEP] = 0;
    hot[h + H_BEND] = 0;
    hot[h + H_RUN] = 0;
    hot[h + H_CHANGED_S] = clock[NOW];
    suspect[i] = 0;
    railS[i] = 0;
  }

  /** Steps that no finger makes. */
  function gate(i: number, x: number, last: number, dtS: number, atRail: boolean): void {
    const h = i * HOT;
    const step = Math.abs(x - last);
    const allowed = hot[h + H_MARGIN] + hot[h + H_RATE] * dtS;
    if (suspect[i] === 0) {
      if (step <= allowed) return;
      suspect[i] = 1;
      anchor[i] = last;
      awayS[i] = 0;
      awaySamples[i] = 0;
      settledS[i] = 0;
      biggestStep[i] = Math.max(biggestStep[i], step);
      markOnset(i);
      return;
    }
    awayS[i] += dtS;
    awaySamples[i]++;
    const lasting = awayS[i] >= LASTING_S && awaySamples[i] >= LASTING_SAMPLES;
    if (Math.abs(x - anchor[i]) <= hot[h + H_MARGIN] + 0.15 * hot[h + H_RATE] * awayS[i]) {
      suspect[i] = 0;
      // Of a reading at the rail the way back says nothing: it is judged for where it stands.
      if (lasting && !atRail && pendingS[i] === 0) pendingS[i] = dtS;
      return;
    }
    if (lasting && !atRail && pendingS[i] === 0) pendingS[i] = dtS;
    if (step > allowed) {
      settledS[i] = 0;
      biggestStep[i] = Math.max(biggestStep[i], step);
      // A step within a stay away is a new one only if it is not the way back of a spike.
      if (awaySamples[i] > 2) markOnset(i);
    } else if (!atRail) {
      settledS[i] += dtS;
      if (settledS[i] >= SETTLE_S) suspect[i] = 0;
    }
  }

  function markOnset(i: number): void {
    earlierOnset[i] = onset[i];
    onset[i] = clock[NOW];
    if (onset[i] - earlierOnset[i] <= REPEAT_S && pendingS[i] === 0) pendingS[i] = 1e-9;
  }

  /** Impossible steps are an intermittent contact, unless nearly every sample is restless: that is noise. */
  function judgeSteps(i: number, dtS: number): void {
    if (pendingS[i] > 0) {
      const sure = biggestStep[i] >= SURE_STEP * span[i];
      if (sure || pendingS[i] >= SORT_OUT_S) {
        if (sure || hot[i * HOT + H_BUSY] < BUSY_SOON) {
          const steps = clock[NOW] - earlierOnset[i] <= REPEAT_S ? 'again and again' : 'and stayed';
          const part = percent(biggestStep[i] / span[i]);
          faults.raise(
            i,
            'intermittent',
            false,
            `jumped by ${part} of its range within one sample, ${steps}`,
          );
        }
        pendingS[i] = 0;
      } else {
        pendingS[i] += dtS;
      }
    }
    if (clock[NOW] - onset[i] > INTERMITTENT_CLEAR_S && suspect[i] === 0) {
      biggestStep[i] = 0;
      faults.clear(i, 'intermittent');
    }
  }

  function judgeRail(i: number, x: number, dtS: number, atRail: boolean): void {
    if (atRail) {
      railS[i] += dtS;
      offRailS[i] = 0;
      if (railS[i] >= RAIL_S) {
        // A contact that comes and goes is named for that; one that stays away is named for the rail.
        if (clock[NOW] - onset[i] > 0.5) faults.clear(i, 'intermittent');
        faults.raise(i, 'railed', false, `stays at ${x} of ${full[i]}, the end of the converter`);
      }
    } else {
      railS[i] = 0;
      offRailS[i] += dtS;
      if (offRailS[i] >= RAIL_CLEAR_S) faults.clear(i, 'railed');
    }
  }

  /** @param atEnd a reading at an end of the converter has no noise, so its silence tells nothing */
  function judgeSilence(i: number, x: number, atEnd: boolean): void {
    const h = i * HOT;
    if (flags[i] & FAULT_BIT.dead) {
      // Alive again once it has changed a few times.
      if (hot[h + H_CHANGES] < 8) return;
      hot[h + H_CHANGES] = LIVELY_CHANGES;
      faults.clear(i, 'dead');
      return;
    }
    const silentS = clock[NOW] - hot[h + H_CHANGED_S];
    if (atEnd || silentS < DEAD_S || hot[h + H_RUN] < hot[h + H_RUN_LIMIT]) return;
    const ms = Math.round(silentS * 1000);
    const noise = Math.sqrt(quietVariance[i]).toFixed(2);
    faults.raise(
      i,
      'dead',
      false,
      `not one count of change at ${x} for ${ms} ms, with noise of ${noise} counts before`,
    );
    hot[h + H_CHANGES] = 0;
  }

  function judgeNoise(i: number, dtS: number): void {
    const h = i * HOT;
    const variance = hot[h + H_VARIANCE];
    const busy = hot[h + H_BUSY];
    if (flags[i] & FAULT_BIT.noisy) {
      const low = NOISY_CLEAR * span[i];
      noisyS[i] = variance < low * low || busy < 0.05 ? noisyS[i] + dtS : 0;
      if (noisyS[i] >= NOISY_CLEAR_S) {
        noisyS[i] = 0;
        faults.clear(i, 'noisy');
      }
      return;
    }
    noisyS[i] = variance > hot[h + H_NOISY_AT] && busy > BUSY ? noisyS[i] + dtS : 0;
    if (noisyS[i] >= NOISY_S && noisyS[i] >= NOISY_SAMPLES * dtS) {
      const s = Math.sqrt(variance);
      const part = s / span[i];
      faults.raise(
        i,
        'noisy',
        part < NOISY_UNUSABLE,
        `noise of ${s.toFixed(1)} counts, ${percent(part)} of its range`,
      );
      noisyS[i] = 0;
    }
  }

  function judgeDirection(i: number, x: number, dtS: number): void {
    const position = ((x - open[i]) * direction[i]) / span[i];
    reversedS[i] = position < REVERSED_AT ? reversedS[i] + dtS : 0;
    if (reversedS[i] >= REVERSED_S && (flags[i] & (FAULT_BIT.railed | FAULT_BIT.intermittent)) === 0) {
      faults.raise(i, 'reversed', false, `runs ${percent(-position)} of its range out beyond the open hand`);
    }
    rightWayS[i] = position > 0.3 ? rightWayS[i] + dtS : 0;
    if (rightWayS[i] >= 0.3) faults.clear(i, 'reversed');
  }

  /** Every judge, for a sample that is out of the ordinary or comes soon after one. */
  function examine(i: number, counts: Uint16Array, dtS: number): void {
    const x = counts[i];
    const last = before[i];
    const atEnd = x <= railWidth[i] || x >= full[i] - railWidth[i];
    const atRail = x <= lowRail[i] || x >= highRail[i];
    gate(i, x, last, dtS, atRail);
    judgeRail(i, x, dtS, atRail);
    judgeSteps(i, dtS);
    judgeSilence(i, x, atEnd);
    judgeNoise(i, dtS);
    if (ofFinger[i] !== 0) judgeDirection(i, x, dtS);
    const busyWith =
      suspect[i] !== 0 ||
      (flags[i] & ~LASTING_FLAGS) !== 0 ||
      pendingS[i] > 0 ||
      railS[i] > 0 ||
      noisyS[i] > 0 ||
      reversedS[i] > 0 ||
      biggestStep[i] > 0;
    stirred[i] = busyWith ? 1 : 0;
    if (suspect[i] === 0) widen(hot, i * HOT, x);
  }

  /** Once every RANGE_WINDOW_S: has the used range moved? */
  function judgeRanges(): void {
    for (let k = 0; k < watchedFingers.length; k++) {
      const i = watchedFingers[k];
      const h = i * HOT;
      const atLowest = ((hot[h + H_LOWEST] - open[i]) * direction[i]) / span[i];
      const atHighest = ((hot[h + H_HIGHEST] - open[i]) * direction[i]) / span[i];
      const low = Math.min(atLowest, atHighest);
      const high = Math.max(atLowest, atHighest);
      const used = hot[h + H_HIGHEST] - hot[h + H_LOWEST];
      hot[h + H_LOWEST] = Number.POSITIVE_INFINITY;
      hot[h + H_HIGHEST] = Number.NEGATIVE_INFINITY;
      if (!(used > 0.6 * span[i]) || flags[i] & ~FAULT_BIT.drifting) continue;
      const up = low > DRIFT && high - 1 > DRIFT_OTHER_END;
      const down = high - 1 < -DRIFT && low < -DRIFT_OTHER_END;
      if (up || down) {
        const ends = `${percent(low)} to ${percent(high)}`;
        faults.raise(
          i,
          'drifting',
          true,
          `the hand now uses ${ends} of the fitted range, instead of 0 to 100 %`,
        );
      } else faults.clear(i, 'drifting');
    }
  }

  /** Once every LEARN_S: how quiet is each channel, and how long a silence would be incredible? */
  function learnNoise(): void {
    let lively = 0;
    for (let k = 0; k < watchedFingers.length; k++) {
      if (hot[watchedFingers[k] * HOT + H_CHANGES] >= LIVELY_CHANGES) lively++;
    }
    for (let k = 0; k < watched.length; k++) {
      const i = watched[k];
      const h = i * HOT;
      const alive = hot[h + H_CHANGES] >= LIVELY_CHANGES;
      const variance = hot[h + H_VARIANCE];
      // A sensor without noise climbs its counts like stairs, which looks like some 0.4 counts of it.
      const enough = hot[h + H_RECENT] >= LEARN_CHANGES;
      const turning = enough && hot[h + H_TURNS] >= LEARN_TURNS * hot[h + H_RECENT];
      const noiseAlone = turning && variance > hot[h + H_ENERGY] / 12;
      if (enough) {
        hot[h + H_RECENT] = 0;
        hot[h + H_TURNS] = 0;
      }
      if (
        alive &&
        noiseAlone &&
        suspect[i] === 0 &&
        hot[h + H_RUN] < 8 &&
        (flags[i] & FAULT_BIT.noisy) === 0
      ) {
        // Rounding to counts adds 1/12 of its own. The quietest stretch rises slowly, so that one lucky stretch
        // does not last for ever.
        const net = Math.max(0, variance - 1 / 12);
        const first = Number.isNaN(quietVariance[i]);
        steadyVariance[i] = first ? net : steadyVariance[i] + 0.12 * (net - steadyVariance[i]);
        quietVariance[i] = first ? net : Math.min(steadyVariance[i], quietVariance[i] * 1.01);
        hot[h + H_RUN_LIMIT] = Math.max(3 * hot[h + H_LONGEST] + 24, runOfSilence(quietVariance[i]));
      }
      if (alive || ofFinger[i] === 0 || flags[i] & FAULT_BIT.dead) continue;
      const x = hot[h + H_LAST];
      const atEnd = x <= railWidth[i] || x >= full[i] - railWidth[i];
      if (atEnd || clock[NOW] - hot[h + H_CHANGED_S] < NEVER_ALIVE_S) continue;
      if (lively > 0 && lively * 2 >= watchedFingers.length) {
        faults.raise(
          i,
          'dead',
          false,
          `not one count of change at ${x} for ${NEVER_ALIVE_S} s, while others move`,
        );
        hot[h + H_CHANGES] = 0;
        stirred[i] = 1;
      }
    }
  }

  return {
    verdicts,
    get version() {
      return faults.version;
    },
    suspect,
    unusable,
    get troubled() {
      return troubled;
    },
    adopt(found) {
      faults.adopt(found);
      count();
    },
    noiseCounts: (channel) => Math.sqrt(Math.max(0, hot[channel * HOT + H_VARIANCE])),
    update(counts, dtS) {
      if (dtS === 0) {
        for (let i = 0; i < n; i++) begin(i, counts[i]);
        count();
        return;
      }
      const nowS = clock[NOW] + dtS;
      clock[NOW] = nowS;
      if (watch(hot, watched, counts, stirred, before, dtS, nowS) > 0) {
        for (let k = 0; k < watched.length; k++)
          if (before[watched[k]] >= 0) examine(watched[k], counts, dtS);
        count();
      }
      clock[LEARN] += dtS;
      if (clock[LEARN] >= LEARN_S) {
        clock[LEARN] = 0;
        learnNoise();
        count();
      }
      clock[WINDOW] += dtS;
      if (clock[WINDOW] >= RANGE_WINDOW_S) {
        clock[WINDOW] = 0;
        judgeRanges();
        count();
      }
    },
  };
}

/**
 * What every sample needs, over arrays alone, so that it compiles to one loop: the statistics of each channel, and
 * whether its reading is out of the ordinary.
 * @param before written: the reading before, of a channel that has to be examined, else -1
 * @returns how many have to be
 */
function watch(
  hot: Float64Array,
  watched: Int16Array,
  counts: Uint16Array,
  stirred: Uint8Array,
  before: Int32Array,
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
    // A repeat tells nothing of noise: some gloves sample slower than they send.
    if (step === 0) {
      run++;
    } else {
      const bend = step - hot[h + H_STEP];
      const product = bend * hot[h + H_BEND];
      const limit = hot[h + H_BUSY_AT];
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
      step > allowed ||
      step < -allowed ||
      x <= hot[h + H_LOW] ||
      x >= hot[h + H_HIGH] ||
      variance > hot[h + H_NOISY_AT] ||
      run >= hot[h + H_RUN_LIMIT]
    ) {
      before[i] = last;
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

/** Orientation sensors compute and touch pads switch: neither is a plain analogue channel. */
function isWatched(channel: Channel): boolean {
  return channel.source >= 0 && channel.kind !== 'wrist' && channel.role !== 'thumbRest';
}

const percent = (part: number): string => `${Math.round(part * 100)} %`;
