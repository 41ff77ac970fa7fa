import { FINGERS } from '../hand/joints.js';
import { TRACKED } from '../hand/validity.js';

/** Every finger curled at least so far is a fist; at most so far, an open hand. */
const FIST_CURL = 0.75;
const OPEN_CURL = 0.25;
/** From one open hand to the next, and from the last fist on: slower than this, counting starts over. */
const FIST_WITHIN_US = 1_200_000;
/** The hand stays open for this long after the last fist, so that it is free when force becomes possible. */
const REST_US = 300_000;
/** Samples further apart than this say nothing about what happened in between. */
const GAP_US = 100_000;

/** How the wearer permits forces by the glove itself: in a headset nobody sees a page. */
export interface ArmSignsOptions {
  /** Bits of the arm button in the `buttons` field of a sample; 0: there is none. */
  buttonMask: number;
  /** How long the button is held down. */
  pressS: number;
  /** Fists that arm, one after another; undefined: the sign is not used. */
  fists: number | undefined;
}

export interface ArmSigns {
  /**
   * Call at every sample.
   * @param armed while it is, no sign begins: what is held down then must be let go first
   * @param timeUs of the sample
   * @returns true once for each completed sign
   */
  update(
    buttons: number,
    curls: ArrayLike<number>,
    fingerStates: ArrayLike<number>,
    armed: boolean,
    timeUs: number,
  ): boolean;
}

/** Deliberate signs only: a long press, and a count of whole fists in quick succession. Pure. */
export function createArmSigns({ buttonMask, pressS, fists }: ArmSignsOptions): ArmSigns {
  let lastUs = Number.NaN;
  /** When the press began; NaN: not pressed; Infinity: pressed, but not as a sign. */
  let pressedUs = Number.NaN;
  /** What the hand last was; undefined: nothing that counts. */
  let last: 'open' | 'fist' | undefined;
  let made = 0;
  /** When the hand opened, and when it was last seen open. */
  let openedUs = Number.NaN;
  let openUs = Number.NaN;

  function press(buttons: number, armed: boolean, gap: boolean, timeUs: number): boolean {
    if (buttonMask === 0) return false;
    if ((buttons & buttonMask) === 0) pressedUs = Number.NaN;
    else if (armed || gap) pressedUs = Number.POSITIVE_INFINITY;
    else if (Number.isNaN(pressedUs)) pressedUs = timeUs;
    if (!(timeUs - pressedUs >= pressS * 1e6)) return false;
    pressedUs = Number.POSITIVE_INFINITY;
    return true;
  }

  function startOver(): false {
    last = undefined;
    made = 0;
    return false;
  }

  function squeeze(
    curls: ArrayLike<number>,
    states: ArrayLike<number>,
    armed: boolean,
    gap: boolean,
    timeUs: number,
  ): boolean {
    if (fists === undefined) return false;
    let least = Number.POSITIVE_INFINITY;
    let most = Number.NEGATIVE_INFINITY;
    let seen = !armed && !gap;
    for (let finger = 0; finger < FINGERS.length; finger++) {
      // A finger that is only guessed makes no sign.
      seen &&= states[finger] === TRACKED;
      least = Math.min(least, curls[finger]);
      most = Math.max(most, curls[finger]);
    }
    if (!seen || Number.isNaN(least)) return startOver();
    if (most <= OPEN_CURL) {
      if (last === 'fist') made++;
      if (last !== 'open') openedUs = timeUs;
      last = 'open';
      openUs = timeUs;
      if (made === fists && timeUs - openedUs >= REST_US) {
        startOver();
        return true;
      }
      if (timeUs - openedUs > FIST_WITHIN_US) made = 0;
      return false;
    }
    // Also with one fist too many: that is another sign than the one that was named.
    if (last === undefined || made === fists || timeUs - openUs > FIST_WITHIN_US) return startOver();
    if (least >= FIST_CURL) last = 'fist';
    return false;
  }

  return {
    update(buttons, curls, fingerStates, armed, timeUs) {
      const gap = !(timeUs > lastUs && timeUs - lastUs <= GAP_US);
      lastUs = timeUs;
      const pressed = press(buttons, armed, gap, timeUs);
      const squeezed = squeeze(curls, fingerStates, armed, gap, timeUs);
      return pressed || squeezed;
    },
  };
}
