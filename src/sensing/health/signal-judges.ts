import { FAULT_BIT, type RaisedFaults } from './raised-faults.js';
import { isAtEnd, positionOf, REVERSED_AT, type SignalBounds } from './signal-bounds.js';
import type { SignalWatch } from './signal-watch.js';
import { percent } from './verdicts.js';

/**
 * One judge for each fault that a signal shows, but for the intermittent contact (step-gate.ts). Each keeps its own
 * times, raises its fault and clears it. Judges of samples return whether they need the next one.
 */

const RAIL_S = 0.06;
const RAIL_CLEAR_S = 0.3;
/** A contact that comes and goes is named for that; one that stays away for so long is named for the rail. */
const STAYS_AWAY_S = 0.5;

/** `railed`: at an end of the converter although the calibrated range stays clear of it. */
export function createRailJudge({ full, railWidth }: SignalBounds, faults: RaisedFaults) {
  const railS = new Float64Array(full.length);
  const offRailS = new Float64Array(full.length);
  return {
    begin(i: number): void {
      railS[i] = 0;
    },
    /**
     * @param atRail or as good as there (open-wiper.ts)
     * @param steadyS since the last step that no finger makes
     */
    judge(i: number, x: number, dtS: number, atRail: boolean, steadyS: number): boolean {
      if (atRail) {
        railS[i] += dtS;
        offRailS[i] = 0;
        if (railS[i] >= RAIL_S) {
          if (steadyS > STAYS_AWAY_S) faults.clear(i, 'intermittent');
          if ((faults.flags[i] & FAULT_BIT.railed) === 0) {
            const open = x > railWidth[i] && x < full[i] / 2;
            const end = open ? 'as an open input does' : 'the end of the converter';
            faults.raise(i, 'railed', false, `stays at ${x} of ${full[i]}, ${end}`);
          }
        }
      } else {
        railS[i] = 0;
        offRailS[i] += dtS;
        if (offRailS[i] >= RAIL_CLEAR_S) faults.clear(i, 'railed');
      }
      return railS[i] > 0;
    },
  };
}

const DEAD_S = 0.15;
const NEVER_ALIVE_S = 5;
/** A dead channel lives again once it has changed so often. */
const REVIVED_CHANGES = 8;

/** `dead`: not one count of change for so long that the channel's own noise makes that incredible. */
export function createSilenceJudge(bounds: SignalBounds, watch: SignalWatch, faults: RaisedFaults) {
  const { flags } = faults;
  const { watchedFingers } = bounds;
  return {
    judge(i: number, x: number, nowS: number): void {
      if (flags[i] & FAULT_BIT.dead) {
        if (watch.changes(i) < REVIVED_CHANGES) return;
        watch.setAlive(i, true);
        faults.clear(i, 'dead');
        return;
      }
      const silentS = watch.silentS(i, nowS);
      // A reading at an end of the converter has no noise, so its silence tells nothing.
      if (isAtEnd(bounds, i, x) || silentS < DEAD_S || !watch.silentTooLong(i)) return;
      const ms = Math.round(silentS * 1000);
      const noise = watch.quietNoise(i).toFixed(2);
      faults.raise(
        i,
        'dead',
        false,
        `not one count of change at ${x} for ${ms} ms, with noise of ${noise} counts before`,
      );
      watch.setAlive(i, false);
    },
    /** Fingers that never showed life, where at least half of the fingers do. */
    judgeNeverAlive(nowS: number): void {
      let lively = 0;
      for (let k = 0; k < watchedFingers.length; k++) if (watch.alive(watchedFingers[k])) lively++;
      if (lively === 0 || lively * 2 < watchedFingers.length) return;
      for (let k = 0; k < watchedFingers.length; k++) {
        const i = watchedFingers[k];
        if (watch.alive(i) || flags[i] & FAULT_BIT.dead) continue;
        const x = watch.last(i);
        if (isAtEnd(bounds, i, x) || watch.silentS(i, nowS) < NEVER_ALIVE_S) continue;
        faults.raise(
          i,
          'dead',
          false,
          `not one count of change at ${x} for ${NEVER_ALIVE_S} s, while others move`,
        );
        watch.setAlive(i, false);
        watch.stirred[i] = 1;
      }
    },
  };
}

/** Noise, part of the span, below which it is over (SignalBounds has where it begins). */
const NOISY_CLEAR = 0.004;
/** Beyond this the value is of no use, filtered or not. */
const NOISY_UNUSABLE = 0.03;
const NOISY_S = 0.06;
const NOISY_CLEAR_S = 1;
const NOISY_SAMPLES = 10;
/** Share of samples that zigzag, from which it is noise, and below which it is not. */
const BUSY = 0.3;
const BUSY_CLEAR = 0.05;

/** `noisy`: more noise than a sound channel has, for longer than a spike. */
export function createNoiseJudge(
  { span, noisyVariance }: SignalBounds,
  watch: SignalWatch,
  faults: RaisedFaults,
) {
  const noisyS = new Float64Array(span.length);
  return (i: number, dtS: number): boolean => {
    const variance = watch.variance(i);
    const busy = watch.busy(i);
    if (faults.flags[i] & FAULT_BIT.noisy) {
      const low = NOISY_CLEAR * span[i];
      noisyS[i] = variance < low * low || busy < BUSY_CLEAR ? noisyS[i] + dtS : 0;
      if (noisyS[i] >= NOISY_CLEAR_S) {
        noisyS[i] = 0;
        faults.clear(i, 'noisy');
      }
    } else {
      noisyS[i] = variance > noisyVariance[i] && busy > BUSY ? noisyS[i] + dtS : 0;
      if (noisyS[i] >= NOISY_S && noisyS[i] >= NOISY_SAMPLES * dtS) {
        noisyS[i] = 0;
        const s = Math.sqrt(variance);
        const part = s / span[i];
        const evidence = `noise of ${s.toFixed(1)} counts, ${percent(part)} of its range`;
        faults.raise(i, 'noisy', part < NOISY_UNUSABLE, evidence);
      }
    }
    return noisyS[i] > 0;
  };
}

const REVERSED_S = 0.15;
/** What explains such a reading better, and the fault itself once it is raised. */
const NOT_REVERSED = FAULT_BIT.railed | FAULT_BIT.intermittent | FAULT_BIT.reversed;
/** It runs the right way after all: so far towards closed, for so long. */
const RIGHT_WAY_AT = 0.3;
const RIGHT_WAY_S = 0.3;

/** `reversed`: runs far out on the open side, where no finger goes. */
export function createDirectionJudge(bounds: SignalBounds, faults: RaisedFaults) {
  const reversedS = new Float64Array(bounds.span.length);
  const rightWayS = new Float64Array(bounds.span.length);
  return (i: number, x: number, dtS: number): boolean => {
    const position = positionOf(bounds, i, x);
    reversedS[i] = position < REVERSED_AT ? reversedS[i] + dtS : 0;
    if (reversedS[i] >= REVERSED_S && (faults.flags[i] & NOT_REVERSED) === 0) {
      const evidence = `runs ${percent(-position)} of its range out beyond the open hand`;
      faults.raise(i, 'reversed', false, evidence);
    }
    rightWayS[i] = position > RIGHT_WAY_AT ? rightWayS[i] + dtS : 0;
    if (rightWayS[i] >= RIGHT_WAY_S) faults.clear(i, 'reversed');
    return reversedS[i] > 0;
  };
}

/** A hand that used no more than this of the span says nothing of its ends. */
const WHOLE = 0.6;
/** So far has one end moved, and so far the other one at least; part of the span. */
const DRIFT = 0.12;
const DRIFT_OTHER_END = 0.05;

/** `drifting`: both ends of the range used in a window have moved the same way from the fitted ones. */
export function createRangeJudge(bounds: SignalBounds, watch: SignalWatch, faults: RaisedFaults) {
  const { watchedFingers, span } = bounds;
  return (): void => {
    for (let k = 0; k < watchedFingers.length; k++) {
      const i = watchedFingers[k];
      const lowest = watch.lowest(i);
      const highest = watch.highest(i);
      watch.beginWindow(i);
      if (!(highest - lowest > WHOLE * span[i]) || faults.flags[i] & ~FAULT_BIT.drifting) continue;
      const atLowest = positionOf(bounds, i, lowest);
      const atHighest = positionOf(bounds, i, highest);
      const low = Math.min(atLowest, atHighest);
      const high = Math.max(atLowest, atHighest);
      const up = low > DRIFT && high - 1 > DRIFT_OTHER_END;
      const down = high - 1 < -DRIFT && low < -DRIFT_OTHER_END;
      if (up || down) {
        const ends = `${percent(low)} to ${percent(high)}`;
        const evidence = `the hand now uses ${ends} of the fitted range, instead of 0 to 100 %`;
        faults.raise(i, 'drifting', true, evidence);
      } else faults.clear(i, 'drifting');
    }
  };
}
