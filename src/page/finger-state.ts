import { FINGERS } from '../hand/joints.js';
import { LOAD_MARGIN } from '../resistance/step-state.js';
import type { LiveHand } from './live.js';

/** What is known about a finger, in order of importance: held back, sensed, filled in, unknown. */
export type FingerCondition = 'held' | 'tracked' | 'inferred' | 'invalid';

export const CONDITION_TEXT: Record<FingerCondition, string> = {
  held: 'Held now',
  tracked: 'Sensed',
  inferred: 'Guessed',
  invalid: 'Unknown',
};

/**
 * The value of a channel is not measured, but filled in for a finger whose sensor is not believed. A finger may have a
 * sensor that is well beside the one that is not; its only one is disbelieved before the fault has a name.
 */
export const isGuessed = (role: string, verdict: string, isInferred: boolean): boolean =>
  isInferred && (verdict !== 'healthy' || role.endsWith('.curl'));

type Known = Pick<LiveHand, 'joints' | 'resistance' | 'signals'>;

/** Curl of a finger, 0..1; undefined where it is not known. */
export function curlOf({ joints, signals }: Known, finger: number): number | undefined {
  const curl = joints?.valid ? signals?.curls[finger] : undefined;
  return curl === undefined || !Number.isFinite(curl) ? undefined : Math.min(1, Math.max(0, curl));
}

/** Curl at which a stop is set for a finger, which may still be far from it; undefined where it is free. */
export const stopOf = ({ resistance }: Known, finger: number): number | undefined =>
  resistance?.armed === true ? resistance.fingers[FINGERS[finger]]?.stopAt : undefined;

/**
 * Whether a finger is at its stop, so that its string is taut: as near as the governor counts it as loaded. A finger
 * that is not there touches nothing, wherever its stop is.
 */
export function isHeld(hand: Known, finger: number): boolean {
  const stop = stopOf(hand, finger);
  const curl = curlOf(hand, finger);
  return stop !== undefined && curl !== undefined && curl >= stop - LOAD_MARGIN;
}

/** Conditions of the five fingers, into an array that is used again. */
export function fingerConditions(hand: Known): readonly FingerCondition[] {
  const { joints } = hand;
  for (let finger = 0; finger < FINGERS.length; finger++) {
    conditions[finger] = !joints?.valid
      ? 'invalid'
      : isHeld(hand, finger)
        ? 'held'
        : joints.fingers[FINGERS[finger]];
  }
  return conditions;
}
const conditions: FingerCondition[] = FINGERS.map(() => 'invalid');
