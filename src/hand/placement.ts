import type { Finger } from './joints.js';
import { BUCHHOLZ_FRACTIONS, PLACEMENT, THUMB_PLACEMENT } from './proportions.js';

/** A point in metres, from the wrist joint. */
export type PointM = readonly [number, number, number];

/**
 * Where a finger sits: written for a right hand, in the wrist's frame; a left hand is its mirror image.
 * All plain numbers, so that it survives JSON bit by bit.
 */
export interface FingerPlacement {
  /** CMC joint, where the metacarpal starts. */
  readonly baseM: PointM;
  /** MCP joint at rest. A metacarpal length given beside it is laid off towards this point. */
  readonly knuckleM: PointM;
  /** Direction of the straight finger, degrees, positive towards the thumb. */
  readonly fanDeg: number;
  /** Lean of the finger's back, degrees, positive towards the little finger. */
  readonly rollDeg: number;
}

export interface ThumbPlacement {
  /** CMC joint. */
  readonly baseM: PointM;
  /** Direction of the metacarpal at rest in the plane of the palm, degrees from the hand's axis. */
  readonly fanDeg: number;
  /** Turn of the nail from the back of the hand towards the thumb side, degrees. */
  readonly turnDeg: number;
}

/** What tells two hands of the same size apart beside their bone lengths. */
export interface HandPlacement {
  readonly thumb: ThumbPlacement;
  readonly index: FingerPlacement;
  readonly middle: FingerPlacement;
  readonly ring: FingerPlacement;
  readonly little: FingerPlacement;
}

/** The placement of a hand of which only the size is known. */
export function defaultPlacement(lengthM: number, breadthM: number): HandPlacement {
  const place = ([x, y, z]: PointM): PointM => [x * breadthM, y * breadthM, z * lengthM];
  const finger = (name: Exclude<Finger, 'thumb'>): FingerPlacement => {
    const { base, knuckle, fanDeg, rollDeg } = PLACEMENT[name];
    const x = knuckle[0] * breadthM;
    const y = knuckle[1] * breadthM;
    const wristToKnuckle = BUCHHOLZ_FRACTIONS[name][0] * lengthM;
    const z = -Math.sqrt(wristToKnuckle ** 2 - x ** 2 - y ** 2);
    return { baseM: place(base), knuckleM: [x, y, z], fanDeg, rollDeg };
  };
  const { base, fanDeg, turnDeg } = THUMB_PLACEMENT;
  return {
    thumb: { baseM: place(base), fanDeg, turnDeg },
    index: finger('index'),
    middle: finger('middle'),
    ring: finger('ring'),
    little: finger('little'),
  };
}
