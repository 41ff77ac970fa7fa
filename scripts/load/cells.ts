import type { Outcome } from './cell.js';
import type { Encoding } from './reader-messages.js';

export const GLOVES = [1, 2] as const;
export const RATES_HZ = [100, 250, 500, 1000] as const;
export const SUBSCRIBERS = [1, 4, 16, 64] as const;
export const ENCODINGS: readonly Encoding[] = ['json', 'binary'];

export interface Cell extends Outcome {
  gloves: number;
  rateHz: number;
  subscribers: number;
  encoding: Encoding;
}

/** Poses that came, of those that were due, in percent. */
export const arrived = ({ posesPerS, duePerS }: Outcome): number => (100 * posesPerS) / duePerS;
