import type { Mutable } from '../../mutable.js';
import type { Channel } from '../channels.js';
import { createOpenWiperJudge } from '../open-wiper.js';
import { createRaisedFaults, FAULT_BIT, type RaisedFaults } from './raised-faults.js';
import { boundsOf, isAtRail } from './signal-bounds.js';
import {
  createDirectionJudge,
  createNoiseJudge,
  createRailJudge,
  createRangeJudge,
  createSilenceJudge,
} from './signal-judges.js';
import { createSignalWatch } from './signal-watch.js';
import { createStepGate } from './step-gate.js';
import { percent, type Verdict } from './verdicts.js';

/**
 * Channel health while the glove is worn: constant work a sample, windows in device time, nothing allocated
 * unless a verdict changes.
 *
 *   every sample:   watch ──> quiet: nothing more
 *                         └─> out of the ordinary, or lately so: gate, then every judge ──> raised faults
 *   now and then:   noise is learnt, ranges are judged
 *
 * - The watch (signal-watch.ts) keeps the statistics of each channel, and what it has learnt of its noise.
 * - Its bounds (signal-bounds.ts) say what a healthy reading may be.
 * - The gate (step-gate.ts) holds a reading after a step that no finger can make: `suspect`, `intermittent`.
 * - The judges (signal-judges.ts): `railed`, `dead`, `noisy`, `reversed`, `drifting`.
 * - The raised faults (raised-faults.ts) choose the most telling one as the verdict.
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
  /** @param dtS device time since the last sample, s; 0 restarts the windows */
  update(counts: Uint16Array, dtS: number): void;
}

/** Noise is learnt this often: not in step with any motion. */
const LEARN_S = 0.113;
const RANGE_WINDOW_S = 30;
/** Calibrated span, part of the converter, below which range is short, and below which there is no signal. */
const SHORT_RANGE = 0.05;
const NO_RANGE = 0.01;
/** Faults that need no judging at every sample. */
const LASTING_FLAGS = FAULT_BIT.missing | FAULT_BIT.shortRange | FAULT_BIT.drifting;

// Running times, s.
const NOW = 0;
const LEARN = 1;
const WINDOW = 2;
const CLOCKS = 3;

export function createHealth(channels: readonly Channel[]): Health {
  const n = channels.length;
  const bounds = boundsOf(channels);
  const { watched, ofFinger } = bounds;
  const faults = createRaisedFaults(channels.map(({ kind }) => kind));
  const { verdicts, unusable, flags } = faults;
  const watch = createSignalWatch(bounds);
  const { stirred, before } = watch;
  const gate = createStepGate(bounds, watch, faults);
  const { suspect } = gate;
  const rail = createRailJudge(bounds, faults);
  const silence = createSilenceJudge(bounds, watch, faults);
  const openWiper = createOpenWiperJudge(bounds, watch, faults);
  const judgeNoise = createNoiseJudge(bounds, watch, faults);
  const judgeDirection = createDirectionJudge(bounds, faults);
  const judgeRanges = createRangeJudge(bounds, watch, faults);
  const clock = new Float64Array(CLOCKS);

  function count(): void {
    let troubled = 0;
    for (let i = 0; i < n; i++) troubled += suspect[i] | unusable[i];
    health.troubled = troubled;
    health.version = faults.version;
  }

  /** The gate and every judge, for a sample that is out of the ordinary or comes soon after one. */
  function examine(i: number, x: number, dtS: number, nowS: number): void {
    const falls = openWiper.judge(i, x, dtS);
    const atRail = isAtRail(bounds, i, x) || openWiper.isSunk(i, x);
    gate.check(i, x, before[i], dtS, nowS, atRail);
    const railed = rail.judge(i, x, dtS, atRail, gate.steadyS(i, nowS));
    const jumpy = gate.judge(i, dtS, nowS);
    silence.judge(i, x, nowS);
    const noisy = judgeNoise(i, dtS);
    const reversed = ofFinger[i] !== 0 && judgeDirection(i, x, dtS);
    const faulty = (flags[i] & ~LASTING_FLAGS) !== 0;
    stirred[i] = railed || falls || jumpy || noisy || reversed || faulty ? 1 : 0;
    if (suspect[i] === 0) watch.widen(i, x);
  }

  function learn(nowS: number): void {
    for (let k = 0; k < watched.length; k++) {
      const i = watched[k];
      watch.learn(i, suspect[i] === 0 && (flags[i] & FAULT_BIT.noisy) === 0);
    }
    silence.judgeNeverAlive(nowS);
  }

  const health: Mutable<Health> = {
    verdicts,
    version: 0,
    suspect,
    unusable,
    troubled: 0,
    adopt(found) {
      faults.adopt(found);
      count();
    },
    noiseCounts: (channel) => Math.sqrt(Math.max(0, watch.variance(channel))),
    update(counts, dtS) {
      if (dtS === 0) {
        for (let i = 0; i < n; i++) {
          watch.begin(i, counts[i], clock[NOW]);
          gate.begin(i);
          rail.begin(i);
          openWiper.begin(i, counts[i]);
        }
        count();
        return;
      }
      const nowS = clock[NOW] + dtS;
      clock[NOW] = nowS;
      openWiper.look(counts, dtS);
      if (watch.look(counts, dtS, nowS) > 0) {
        for (let k = 0; k < watched.length; k++) {
          const i = watched[k];
          if (before[i] >= 0) examine(i, counts[i], dtS, nowS);
        }
        count();
      }
      clock[LEARN] += dtS;
      if (clock[LEARN] >= LEARN_S) {
        clock[LEARN] = 0;
        learn(nowS);
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
  judgeCalibration(channels, faults);
  count();
  return health;
}

/** What is wrong before the first sample: `missing`, `shortRange`. */
function judgeCalibration(channels: readonly Channel[], faults: RaisedFaults): void {
  for (const [i, { source, role, open, closed, kind, lookup }] of channels.entries()) {
    if (source < 0) {
      faults.raise(i, 'missing', false, `${role} is in the profile, but the glove does not send it`);
      continue;
    }
    const part = Math.abs(closed - open) / lookup.maxCounts;
    if (part < SHORT_RANGE && kind !== 'wrist') {
      faults.raise(i, 'shortRange', part >= NO_RANGE, `open to closed is ${percent(part)} of the converter`);
    }
  }
}
