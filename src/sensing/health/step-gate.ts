import { DISBELIEF, FAULT_BIT, type RaisedFaults } from './raised-faults.js';
import type { SignalBounds } from './signal-bounds.js';
import type { SignalWatch } from './signal-watch.js';
import { percent } from './verdicts.js';

/**
 * Steps that no finger makes: too fast, or gathering speed too fast. The reading is held until it is back, or has stood at
 * its new level for SETTLE_S. From the first such step on the channel is not believed, until its readings have been
 * believable for BELIEVED_S.
 *
 * The name comes later. Two such steps within REPEAT_S, or one that lasts, are an intermittent contact; a single spike of
 * a sample or two (a servo's) is not blamed on a connector.
 */
export interface StepGate {
  /** Per channel, 1: this reading is impossible, hold the last one. */
  readonly suspect: Uint8Array;
  begin(channel: number): void;
  /** Holds a reading, or lets it through again. @param last the reading before it */
  check(channel: number, x: number, last: number, dtS: number, nowS: number, atRail: boolean): void;
  /** Names the contact. @returns whether it needs the next sample */
  judge(channel: number, dtS: number, nowS: number): boolean;
  /** Time since the last step that no finger makes. */
  steadyS(channel: number, nowS: number): number;
}

const SETTLE_S = 0.08;
/** A channel is believed again when its readings have been believable for so long. */
export const BELIEVED_S = 0.5;
const REPEAT_S = 1;
const LASTING_S = 0.01;
const LASTING_SAMPLES = 3;
/** A step of this part of the span is called at once; a smaller one may still turn out to be noise. */
const SURE_STEP = 0.4;
const SORT_OUT_S = 0.06;
/** Share of samples that zigzag, from which such steps are noise: it has only just begun. */
const BUSY_SOON = 0.2;
const CLEAR_S = 2;

export function createStepGate(bounds: SignalBounds, watch: SignalWatch, faults: RaisedFaults): StepGate {
  const { span, stepMargin, fastest } = bounds;
  const n = span.length;
  const suspect = new Uint8Array(n);
  /** Since readings are believable again; infinity: they are believed. */
  const believableS = new Float64Array(n).fill(Number.POSITIVE_INFINITY);
  /** 1: the step to the last reading was one that no finger makes. */
  const stepped = new Uint8Array(n);
  /** The last reading before the step, and what came since. */
  const anchor = new Float64Array(n);
  const awayS = new Float64Array(n);
  const awaySamples = new Float64Array(n);
  const settledS = new Float64Array(n);
  const biggestStep = new Float64Array(n);
  const onset = new Float64Array(n).fill(Number.NEGATIVE_INFINITY);
  const earlierOnset = new Float64Array(n).fill(Number.NEGATIVE_INFINITY);
  /** Time since it is to be named, or turns out to be noise; 0: it is not. */
  const pendingS = new Float64Array(n);

  function markOnset(i: number, nowS: number): void {
    earlierOnset[i] = onset[i];
    onset[i] = nowS;
    if (onset[i] - earlierOnset[i] <= REPEAT_S && pendingS[i] === 0) pendingS[i] = 1e-9;
  }

  /** What is known for noise, and is of use all the same, takes such steps as well. */
  const isNoise = (i: number): boolean =>
    (faults.flags[i] & FAULT_BIT.noisy) !== 0 && biggestStep[i] < SURE_STEP * span[i];

  /** Speed was gathered too fast. Losing it is normal: a stop or a table does that within a sample. */
  function isKick(i: number, step: number): boolean {
    if (watch.bent[i] === 0 || stepped[i] !== 0 || Math.abs(step) <= stepMargin[i]) return false;
    const before = watch.stepBefore(i);
    return step * before < 0 || Math.abs(step) > Math.abs(before);
  }

  function believe(i: number, dtS: number): void {
    if (believableS[i] === Number.POSITIVE_INFINITY) return;
    believableS[i] = suspect[i] === 0 ? believableS[i] + dtS : 0;
    // That it is called noise meanwhile is no reason: a contact that flaps looks like noise, too.
    if (believableS[i] < BELIEVED_S) return;
    believableS[i] = Number.POSITIVE_INFINITY;
    faults.disbelieve(i, DISBELIEF.step, false);
  }

  return {
    suspect,
    begin(i) {
      suspect[i] = 0;
      stepped[i] = 0;
    },
    check(i, x, last, dtS, nowS, atRail) {
      const step = Math.abs(x - last);
      const allowed = stepMargin[i] + fastest[i] * dtS;
      const impossible = step > allowed || isKick(i, x - last);
      stepped[i] = impossible ? 1 : 0;
      if (suspect[i] === 0) {
        if (!impossible) return;
        suspect[i] = 1;
        anchor[i] = last;
        awayS[i] = 0;
        awaySamples[i] = 0;
        settledS[i] = 0;
        biggestStep[i] = Math.max(biggestStep[i], step);
        markOnset(i, nowS);
        if (!isNoise(i)) {
          believableS[i] = 0;
          faults.disbelieve(i, DISBELIEF.step, true);
        }
        return;
      }
      awayS[i] += dtS;
      awaySamples[i]++;
      const lasting = awayS[i] >= LASTING_S && awaySamples[i] >= LASTING_SAMPLES;
      // Of a reading at the rail the way back says nothing: it is judged for where it stands.
      if (lasting && !atRail && pendingS[i] === 0) pendingS[i] = dtS;
      if (Math.abs(x - anchor[i]) <= stepMargin[i] + 0.15 * fastest[i] * awayS[i]) {
        suspect[i] = 0;
      } else if (step > allowed) {
        settledS[i] = 0;
        biggestStep[i] = Math.max(biggestStep[i], step);
        // A step within a stay away is a new one only if it is not the way back of a spike.
        if (awaySamples[i] > 2) markOnset(i, nowS);
      } else if (!atRail) {
        settledS[i] += dtS;
        if (settledS[i] >= SETTLE_S) suspect[i] = 0;
      }
    },
    judge(i, dtS, nowS) {
      if (pendingS[i] > 0) {
        const sure = biggestStep[i] >= SURE_STEP * span[i];
        if (sure || pendingS[i] >= SORT_OUT_S) {
          // If nearly every sample is restless, it is noise.
          if (sure || watch.busy(i) < BUSY_SOON) {
            const steps = nowS - earlierOnset[i] <= REPEAT_S ? 'again and again' : 'and stayed';
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
      believe(i, dtS);
      if (nowS - onset[i] > CLEAR_S && suspect[i] === 0) {
        biggestStep[i] = 0;
        faults.clear(i, 'intermittent');
      }
      return suspect[i] !== 0 || pendingS[i] > 0 || biggestStep[i] > 0;
    },
    steadyS: (i, nowS) => nowS - onset[i],
  };
}
