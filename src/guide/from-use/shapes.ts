import type { Steps } from '../../steps.js';
import { type OwnPace, ownPaceOf } from './own-pace.js';
import { aheadOfOthers, bowAt, type StrokeChannel, waveAt } from './strokes.js';

/** The shape of each channel between its ends, from all that its motion tells, each for what it is worth. */
export interface Shape {
  /** Ahead of the known shape, part of the range, at a part of the closing. */
  aheadAt(at: number): number;
  /** One standard deviation of that, root mean square over the range. */
  readonly sd: number;
}

/** Departures that hobby potentiometers and strings have, part of the range: common practice. */
const BOW = 0.035;
const WAVE = 0.015;
/** People are not so even that more motions would tell more than this, part of the range: common practice. */
const SUREST = 0.008;
/** What all fingers of a wearer may do otherwise in closing than in opening: common practice. */
const HABIT = 0.03;
/** Root mean square of the two over the range. */
const BOW_RMS = Math.sqrt(8 / 15);
const WAVE_RMS = Math.sqrt(1 / 2);

export function* shapesOf(timesS: Float64Array, channels: readonly StrokeChannel[]): Steps<Shape[]> {
  const others = yield* aheadOfOthers(timesS, channels);
  const own: (OwnPace | undefined)[] = [];
  for (const { values } of channels) {
    own.push(ownPaceOf(timesS, values));
    yield;
  }
  const paced = own.filter((one): one is OwnPace => one !== undefined);
  const fingers = new Set(channels.map(({ finger }) => finger)).size;
  // What all channels have in common is half told, by their pace: it may be the hand's own way of closing.
  const mean = paced.reduce((sum, { bow }) => sum + bow, 0) / Math.max(1, paced.length);
  const commonPrior = BOW ** 2 / Math.max(1, fingers);
  const commonTrust = paced.length === 0 ? 0 : commonPrior / (commonPrior + HABIT ** 2);
  return channels.map((_, i) => {
    const { bow, wave, bowVariance, waveVariance } = others[i];
    const pace = own[i];
    const weights = [1 / (bowVariance + SUREST ** 2), pace ? 1 / (pace.sd ** 2 + SUREST ** 2) : 0];
    const weight = weights[0] + weights[1] + 1 / BOW ** 2;
    const apart = (weights[0] * bow + weights[1] * (pace ? pace.bow - mean : 0)) / weight;
    const waveTrust = WAVE ** 2 / (WAVE ** 2 + waveVariance + SUREST ** 2);
    const whole = apart + commonTrust * mean;
    return {
      aheadAt: (at) => whole * bowAt(at) + waveTrust * wave * waveAt(at),
      sd: Math.hypot(
        BOW_RMS * Math.sqrt(1 / weight + (1 - commonTrust) * commonPrior),
        WAVE_RMS * WAVE * Math.sqrt(1 - waveTrust),
      ),
    };
  });
}
