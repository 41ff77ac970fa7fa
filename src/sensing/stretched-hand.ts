import { FINGERS } from '../hand/joints.js';
import { TRACKED } from '../hand/validity.js';

/** Straighter than a relaxed hand, which bends 0.15 and more; well over the noise of an open finger. */
const STRAIGHT_CURL = 0.08;

/**
 * The wearer's sign for "let go" that needs no button: all five fingers stretched out straight, and kept so. A
 * held finger can always be opened, so it can be made with every finger held; a fist could not.
 */
export interface StretchedHand {
  /**
   * Call at every sample.
   * @param timeUs of the sample
   * @returns true once the hand has been stretched for the time, and until it no longer is
   */
  update(curls: ArrayLike<number>, fingerStates: ArrayLike<number>, timeUs: number): boolean;
}

/** @param holdS how long; undefined: the sign is not used */
export function createStretchedHand(holdS: number | undefined): StretchedHand {
  let sinceUs = Number.NaN;
  return {
    update(curls, fingerStates, timeUs) {
      if (holdS === undefined) return false;
      for (let finger = 0; finger < FINGERS.length; finger++) {
        // A finger that is only guessed makes no sign.
        if (curls[finger] <= STRAIGHT_CURL && fingerStates[finger] === TRACKED) continue;
        sinceUs = Number.NaN;
        return false;
      }
      // Also when time went back: the stretch starts over.
      if (!(timeUs >= sinceUs)) sinceUs = timeUs;
      return timeUs - sinceUs >= holdS * 1e6;
    },
  };
}
