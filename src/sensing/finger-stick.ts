import type { HandSide } from '../hand/joints.js';

/**
 * A thumbstick made of the index finger, for gloves without one: while middle, ring and little finger make a fist,
 * the index finger steers from where it was when the fist closed. Stretching it is forward, bending it back;
 * spreading it moves towards the thumb's side. Opening the fist lets the stick go.
 */

/** Curl of the other fingers at which the fist begins and ends: apart, so that it does not flicker. Common practice. */
const FIST_ON = 0.75;
const FIST_OFF = 0.6;
/** Change of curl and of splay for full deflection: an easy part of the finger's way. Common practice. */
const CURL_TRAVEL = 0.3;
const SPLAY_TRAVEL = 0.7;
const INDEX = 1;

export interface FingerStick {
  /** x right, y forward, -1..1; 0 while there is no fist. */
  readonly out: Float64Array;
  /** @param known 1 while the fingers are tracked: a guess must not steer */
  update(curl: ArrayLike<number>, splay: ArrayLike<number>, known: boolean): void;
}

export function createFingerStick(side: HandSide): FingerStick {
  const out = new Float64Array(2);
  // Palm down, the thumb of the right hand is on the left.
  const towardsThumb = side === 'right' ? -1 : 1;
  let held = false;
  let curlAtStart = 0;
  let splayAtStart = 0;
  return {
    out,
    update(curl, splay, known) {
      const fist = Math.min(curl[2], curl[3], curl[4]);
      if (!known || fist < FIST_OFF) held = false;
      else if (!held && fist >= FIST_ON) {
        held = true;
        curlAtStart = curl[INDEX];
        splayAtStart = splay[INDEX];
      }
      out[0] = held ? clampSigned((towardsThumb * (splay[INDEX] - splayAtStart)) / SPLAY_TRAVEL) : 0;
      out[1] = held ? clampSigned((curlAtStart - curl[INDEX]) / CURL_TRAVEL) : 0;
    },
  };
}

const clampSigned = (x: number): number => Math.min(1, Math.max(-1, x));
