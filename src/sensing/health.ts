import { DOFS_PER_FINGER } from '../hand/dofs.js';
import { DOF_MAX, DOF_MIN } from '../hand/limits.js';
import type { Channel } from './channels.js';
import { type FaultKind, fault, HEALTHY, type Verdict } from './verdicts.js';

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
 * - **dead**: not one count of change for so long that the channel's own noise makes that incredible (below).
 * - **noisy**: standard deviation from -E[e(n) e(n-1)] / 4, e the second difference: for white noise that is the
 *   variance, and smooth motion, whose second differences agree in sign, makes it smaller, never larger.
 * - **reversed**: runs far out on the open side, where no finger goes.
 * - **drifting**: both ends of the used range have moved the same way from the fitted ones.
 *
 * Dead, in numbers: with Gaussian noise of s counts a resting reading differs from its commonest count with
 * probability q = erfc(0.5 / (s sqrt 2)) at least (level in the middle of a count), so a run of n equal readings
 * has probability (1 - q)^n. It is called dead below e^-30, with s taken at 0.6 of the estimate, after at least
 * 150 ms, and after three times the longest run that ended by itself. With s = 1 count at 500 Hz that is 150 ms;
 * with s = 0.5 it is 0.6 s; a channel quieter than 0.2 counts cannot be told from a still hand this way.
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
  /** Per channel, standard deviation of the noise, counts. */
  noiseCounts(channel: number): number;
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
const DEAD_LOG = 30;
const NEVER_ALIVE_S = 5;
const LIVELY_CHANGES = 50;
const NOISE_TAU_S = 0.06;
const NOISE_TAU_SAMPLES = 12;
/** Noise, part of the span: some four times what a plain 12-bit converter in a microcontroller shows. */
const NOISY = 0.008;
const NOISY_CLEAR = 0.005;
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

const BIT: Record<Exclude<FaultKind, 'swapped' | 'crossTalk'>, number> = {
  missing: 1,
  intermittent: 2,
  railed: 4,
  dead: 8,
  noisy: 16,
  reversed: 32,
  shortRange: 64,
  drifting: 128,
};

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
  const unusable = new Uint8Array(n);
  const flags = new Uint8Array(n);
  const verdicts: Verdict[] = channels.map(() => HEALTHY);
  const found: Partial<Record<FaultKind, Verdict>>[] = channels.map(() => ({}));

  // Constants of each channel.
  const watched = Uint8Array.from(channels, watchable);
  const ofFinger = Uint8Array.from(channels, (c) => (c.finger >= 0 ? 1 : 0));
  const full = Float64Array.from(channels, (c) => c.lookup.maxCounts);
  const span = Float64Array.from(channels, (c) => Math.max(1, Math.abs(c.closed - c.open)));
  const direction = Float64Array.from(channels, (c) => (c.closed < c.open ? -1 : 1));
  const open = Float64Array.from(channels, (c) => c.open);
  const rate = Float64Array.from(channels, (c, i) => fastest(c) * span[i]);
  const margin = Float64Array.from(channels, (_, i) => STEP_MARGIN * span[i] + 2);
  const railWidth = Float64Array.from(channels, (_, i) => Math.floor(full[i] / 2000));
  const clear = Float64Array.from(channels, (_, i) => Math.max(0.08 * span[i], 0.02 * full[i]));
  // Counts at or below / above which a reading is at a rail; out of reach when the fitted range goes there.
  const lowRail = Float64Array.from(channels, (c, i) =>
    Math.min(c.open, c.closed) > clear[i] ? railWidth[i] : -1,
  );
  const highRail = Float64Array.from(channels, (c, i) =>
    Math.max(c.open, c.closed) < full[i] - clear[i] ? full[i] - railWidth[i] : full[i] + 1,
  );
  const noisyAt = Float64Array.from(channels, (_, i) => Math.max(NOISY * span[i], 1.5));
  const busyAt = Float64Array.from(channels, (_, i) => Math.max(1.5 * NOISY * span[i], 3));

  // State of each channel.
  const last = array();
  const lastStep = array();
  const lastBend = array();
  const variance = array();
  /** Mean square of the second difference: 6 variances for noise alone, more when the finger moves. */
  const energy = array();
  const steadyVariance = array();
  const quietVariance = array().fill(Number.POSITIVE_INFINITY);
  const busy = array();
  const changes = array();
  const run = array();
  const runS = array();
  const longestRun = array();
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
  const lowest = array().fill(Number.POSITIVE_INFINITY);
  const highest = array().fill(Number.NEGATIVE_INFINITY);

  let nowS = 0;
  let windowS = 0;
  let lively = 0;
  let livelyCheckS = 0;
  let version = 0;
  const watchedFingers = channels.filter((_, i) => watched[i] !== 0 && ofFinger[i] !== 0).length;

  for (const [i, channel] of channels.entries()) {
    if (channel.source < 0) {
      set(i, 'missing', false, `${channel.role} is in the profile, but the glove does not send it`);
      continue;
    }
    const part = Math.abs(channel.closed - channel.open) / full[i];
    if (part < SHORT_RANGE && channel.kind !== 'wrist') {
      set(i, 'shortRange', part >= NO_RANGE, `open to closed is ${percent(part)} of the converter`);
    }
  }

  function set(i: number, kind: keyof typeof BIT, usable: boolean, evidence: string): void {
    if (flags[i] & BIT[kind]) return;
    flags[i] |= BIT[kind];
    found[i][kind] = fault(kind, usable, evidence);
    choose(i);
  }
  function drop(i: number, kind: keyof typeof BIT): void {
    if ((flags[i] & BIT[kind]) === 0) return;
    flags[i] &= ~BIT[kind];
    choose(i);
  }
  function choose(i: number): void {
    let verdict = HEALTHY;
    let usable = true;
    for (const kind in BIT) {
      const key = kind as keyof typeof BIT;
      if ((flags[i] & BIT[key]) === 0) continue;
      const candidate = found[i][key] as Verdict;
      if (verdict === HEALTHY) verdict = candidate;
      if (!candidate.usable) usable = false;
    }
    unusable[i] = usable ? 0 : 1;
    if (verdict !== verdicts[i]) {
      verdicts[i] = verdict;
      version++;
    }
  }

  function begin(i: number, x: number): void {
    last[i] = x;
    lastStep[i] = 0;
    lastBend[i] = 0;
    run[i] = 0;
    runS[i] = 0;
    suspect[i] = 0;
    railS[i] = 0;
  }

  /** Steps that no finger makes. */
  function gate(i: number, x: number, dtS: number, atRail: boolean): void {
    const step = Math.abs(x - last[i]);
    const allowed = margin[i] + rate[i] * dtS;
    if (suspect[i] === 0) {
      if (step <= allowed) return;
      suspect[i] = 1;
      anchor[i] = last[i];
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
    if (Math.abs(x - anchor[i]) <= margin[i] + 0.15 * rate[i] * awayS[i]) {
      suspect[i] = 0;
      if (lasting && pendingS[i] === 0) pendingS[i] = dtS;
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
    onset[i] = nowS;
    if (nowS - earlierOnset[i] <= REPEAT_S && pendingS[i] === 0) pendingS[i] = 1e-9;
  }

  /** Impossible steps are an intermittent contact, unless nearly every sample is restless: that is noise. */
  function judgeSteps(i: number, dtS: number): void {
    if (pendingS[i] > 0) {
      const sure = biggestStep[i] >= SURE_STEP * span[i];
      if (sure || pendingS[i] >= SORT_OUT_S) {
        if (sure || busy[i] < BUSY_SOON) {
          const steps = nowS - earlierOnset[i] <= REPEAT_S ? 'again and again' : 'and stayed';
          const part = percent(biggestStep[i] / span[i]);
          set(i, 'intermittent', false, `jumped by ${part} of its range within one sample, ${steps}`);
        }
        pendingS[i] = 0;
      } else {
        pendingS[i] += dtS;
      }
    }
    if (nowS - onset[i] > INTERMITTENT_CLEAR_S && suspect[i] === 0) {
      biggestStep[i] = 0;
      drop(i, 'intermittent');
    }
  }

  function judgeRail(i: number, x: number, dtS: number, atRail: boolean): void {
    if (atRail) {
      railS[i] += dtS;
      offRailS[i] = 0;
      if (railS[i] >= RAIL_S) {
        // A contact that comes and goes is named for that; one that stays away is named for the rail.
        if (nowS - onset[i] > 0.5) drop(i, 'intermittent');
        set(i, 'railed', false, `stays at ${x} of ${full[i]}, the end of the converter`);
      }
    } else {
      railS[i] = 0;
      offRailS[i] += dtS;
      if (offRailS[i] >= RAIL_CLEAR_S) drop(i, 'railed');
    }
  }

  function judgeSilence(i: number, x: number, dtS: number, legitimateEnd: boolean): void {
    if (x !== last[i]) {
      if (flags[i] & BIT.dead) {
        // Alive again once it has changed a few times.
        changes[i]++;
        if (changes[i] >= 8) drop(i, 'dead');
      } else {
        changes[i]++;
        if (suspect[i] === 0 && run[i] > longestRun[i]) longestRun[i] = run[i];
      }
      run[i] = 0;
      runS[i] = 0;
      return;
    }
    if (legitimateEnd) return;
    run[i]++;
    runS[i] += dtS;
    if (runS[i] < DEAD_S || flags[i] & BIT.dead) return;
    if (changes[i] >= LIVELY_CHANGES) {
      if (run[i] < 3 * longestRun[i] + 24 || run[i] < runOfSilence(quietVariance[i])) return;
      const ms = Math.round(runS[i] * 1000);
      const noise = Math.sqrt(Math.max(0, quietVariance[i])).toFixed(2);
      set(
        i,
        'dead',
        false,
        `not one count of change at ${x} for ${ms} ms, with noise of ${noise} counts before`,
      );
      changes[i] = 0;
    } else if (ofFinger[i] !== 0 && runS[i] >= NEVER_ALIVE_S && lively * 2 >= watchedFingers && lively > 0) {
      set(i, 'dead', false, `not one count of change at ${x} for ${NEVER_ALIVE_S} s, while others move`);
      changes[i] = 0;
    }
  }

  function judgeNoise(i: number, x: number, dtS: number): void {
    const step = x - last[i];
    // Some gloves repeat a reading when they sample slower than they send: a repeat tells nothing of noise.
    if (step !== 0) {
      const tau = Math.max(NOISE_TAU_S, NOISE_TAU_SAMPLES * dtS);
      const a = dtS / (tau + dtS);
      const bend = step - lastStep[i];
      const product = bend * lastBend[i];
      variance[i] += a * (-0.25 * product - variance[i]);
      energy[i] += a * (bend * bend - energy[i]);
      const restless = product < 0 && (bend > busyAt[i] || bend < -busyAt[i]);
      busy[i] += a * ((restless ? 1 : 0) - busy[i]);
      lastStep[i] = step;
      lastBend[i] = bend;
    }
    const limit = noisyAt[i];
    if (flags[i] & BIT.noisy) {
      const low = NOISY_CLEAR * span[i];
      noisyS[i] = variance[i] < low * low || busy[i] < 0.05 ? noisyS[i] + dtS : 0;
      if (noisyS[i] >= NOISY_CLEAR_S) {
        noisyS[i] = 0;
        drop(i, 'noisy');
      }
      return;
    }
    noisyS[i] = variance[i] > limit * limit && busy[i] > BUSY ? noisyS[i] + dtS : 0;
    if (noisyS[i] >= NOISY_S && noisyS[i] >= NOISY_SAMPLES * dtS) {
      const s = Math.sqrt(variance[i]);
      const part = s / span[i];
      set(
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
    if (suspect[i] === 0) {
      if (position < lowest[i]) lowest[i] = position;
      if (position > highest[i]) highest[i] = position;
    }
    reversedS[i] = position < REVERSED_AT ? reversedS[i] + dtS : 0;
    if (reversedS[i] >= REVERSED_S && (flags[i] & (BIT.railed | BIT.intermittent)) === 0) {
      set(i, 'reversed', false, `runs ${percent(-position)} of its range out beyond the open hand`);
    }
    rightWayS[i] = position > 0.3 ? rightWayS[i] + dtS : 0;
    if (rightWayS[i] >= 0.3) drop(i, 'reversed');
  }

  function judgeRanges(): void {
    for (let i = 0; i < n; i++) {
      if (watched[i] === 0 || ofFinger[i] === 0) continue;
      const low = lowest[i];
      const high = highest[i];
      lowest[i] = Number.POSITIVE_INFINITY;
      highest[i] = Number.NEGATIVE_INFINITY;
      if (!(high - low > 0.6) || flags[i] & ~BIT.drifting) continue;
      const up = low > DRIFT && high - 1 > DRIFT_OTHER_END;
      const down = high - 1 < -DRIFT && low < -DRIFT_OTHER_END;
      if (up || down) {
        const ends = `${percent(low)} to ${percent(high)}`;
        set(i, 'drifting', true, `the hand now uses ${ends} of the fitted range, instead of 0 to 100 %`);
      } else drop(i, 'drifting');
    }
  }

  function countLively(): void {
    lively = 0;
    for (let i = 0; i < n; i++) {
      if (watched[i] === 0 || ofFinger[i] === 0) continue;
      if (changes[i] >= LIVELY_CHANGES) lively++;
      // The quietest stretch since the start, rising slowly, so that one lucky stretch does not last for ever.
      const noiseAlone = variance[i] > energy[i] / 12;
      if (
        suspect[i] === 0 &&
        run[i] < 8 &&
        noiseAlone &&
        changes[i] >= LIVELY_CHANGES &&
        (flags[i] & BIT.noisy) === 0
      ) {
        // Rounding to counts adds 1/12 of its own.
        const net = Math.max(0, variance[i] - 1 / 12);
        const first = quietVariance[i] === Number.POSITIVE_INFINITY;
        steadyVariance[i] = first ? net : steadyVariance[i] + 0.25 * (net - steadyVariance[i]);
        quietVariance[i] = first ? net : Math.min(steadyVariance[i], quietVariance[i] * 1.02);
      }
    }
  }

  return {
    verdicts,
    get version() {
      return version;
    },
    suspect,
    unusable,
    noiseCounts: (channel) => Math.sqrt(Math.max(0, variance[channel])),
    update(counts, dtS) {
      if (dtS === 0) {
        for (let i = 0; i < n; i++) begin(i, counts[i]);
        return;
      }
      nowS += dtS;
      for (let i = 0; i < n; i++) {
        if (watched[i] === 0) continue;
        const x = counts[i];
        const atEnd = x <= railWidth[i] || x >= full[i] - railWidth[i];
        const atRail = x <= lowRail[i] || x >= highRail[i];
        gate(i, x, dtS, atRail);
        judgeRail(i, x, dtS, atRail);
        judgeSteps(i, dtS);
        judgeSilence(i, x, dtS, atEnd);
        judgeNoise(i, x, dtS);
        if (ofFinger[i] !== 0) judgeDirection(i, x, dtS);
        last[i] = x;
      }
      livelyCheckS += dtS;
      if (livelyCheckS >= 0.25) {
        livelyCheckS = 0;
        countLively();
      }
      windowS += dtS;
      if (windowS >= RANGE_WINDOW_S) {
        windowS = 0;
        judgeRanges();
      }
    },
  };
}

/** Orientation sensors compute and touch pads switch: neither is a plain analogue channel. */
function watchable(channel: Channel): number {
  return channel.source >= 0 && channel.kind !== 'wrist' && channel.role !== 'thumbRest' ? 1 : 0;
}

/** Equal readings in a row that noise of a given variance (counts squared) makes incredible. */
function runOfSilence(variance: number): number {
  const s = 0.6 * Math.sqrt(variance);
  // Too quiet to tell, or not known yet.
  if (!(s > 0.12 && s < Number.POSITIVE_INFINITY)) return Number.POSITIVE_INFINITY;
  return DEAD_LOG / -Math.log(1 - erfc(0.5 / (s * Math.SQRT2)));
}

/** Complementary error function for x >= 0, to 1.2e-7 (Numerical Recipes, erfcc; from memory). */
export function erfc(x: number): number {
  const t = 1 / (1 + 0.5 * x);
  const p =
    -1.26551223 +
    t *
      (1.00002368 +
        t *
          (0.37409196 +
            t *
              (0.09678418 +
                t *
                  (-0.18628806 +
                    t *
                      (0.27886807 +
                        t * (-1.13520398 + t * (1.48851587 + t * (-0.82215223 + t * 0.17087277))))))));
  return t * Math.exp(-x * x + p);
}

const percent = (part: number): string => `${Math.round(part * 100)} %`;
