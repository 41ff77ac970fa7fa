import { FINGERS } from '../hand/joints.js';
import type { LiveHand } from './live.js';

/** What is known about a finger, in order of importance: held back, sensed, filled in, unknown. */
export type FingerCondition = 'stopped' | 'tracked' | 'inferred' | 'invalid';

export const CONDITION_TEXT: Record<FingerCondition, string> = {
  stopped: 'Stopped',
  tracked: 'Sensed',
  inferred: 'Guessed',
  invalid: 'Unknown',
};

/** Conditions of the five fingers, into an array that is used again. */
export function fingerConditions({ joints, resistance }: LiveHand): readonly FingerCondition[] {
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const name = FINGERS[finger];
    const held = resistance?.armed === true && resistance.fingers[name]?.stopAt !== undefined;
    conditions[finger] = !joints?.valid ? 'invalid' : held ? 'stopped' : joints.fingers[name];
  }
  return conditions;
}
const conditions: FingerCondition[] = FINGERS.map(() => 'invalid');
