/** Stop of a finger that meets nothing. */
export const NO_STOP = Number.POSITIVE_INFINITY;

/** First contact of one finger with one shape. Reused. */
export interface FingerContact {
  /** Curl 0..1 at which the finger first meets the shape; NO_STOP if it does not. */
  stop: number;
  /** The joint nearest to the contact, index in JOINT_NAMES; -1 without a stop. */
  joint: number;
  /** Point of the shape's surface where they meet, and its outward normal, in the space of the poses. */
  readonly point: Float64Array;
  readonly normal: Float64Array;
  /** How fast the finger gets deeper at the stop, metres per unit of curl; 0 without a stop. */
  depthPerCurl: number;
  /**
   * How deep the finger is now, in the pose it is in: metres, positive inside, negative the gap. Counted from where
   * the finger meets the shape, so a bone that rests on the shape with the finger open does not count as deep.
   */
  depth: number;
}

export const createFingerContact = (): FingerContact => ({
  stop: NO_STOP,
  joint: -1,
  point: new Float64Array(3),
  normal: new Float64Array(3),
  depthPerCurl: 0,
  depth: Number.NEGATIVE_INFINITY,
});
