import { atOnce, type Steps } from '../steps.js';
import { type ClosingProfile, createClosingProfile, DEFAULT_CLOSING } from './closing.js';
import { closingSteps } from './fist.js';
import { type NaturalMotion, naturalMotionSteps } from './natural-motion.js';
import { createSkeleton, type Skeleton, type SkeletonOptions } from './skeleton.js';

/** How a hand of certain bones moves; the same for a left hand and its mirror image. */
export interface HandMotion {
  readonly closing: ClosingProfile;
  readonly natural: NaturalMotion;
}

/** All that does not change while one hand wears one glove. */
export interface HandModel extends HandMotion {
  readonly skeleton: Skeleton;
}

/** A tenth of a second of work the first time: make it before the frames come. */
export function createHandModel(options: SkeletonOptions): HandModel {
  const skeleton = createSkeleton(options);
  return { skeleton, ...atOnce(handMotionSteps(skeleton)) };
}

/** In steps of a millisecond or so, for those who must not keep others waiting. */
export function* handMotionSteps(skeleton: Skeleton): Steps<HandMotion> {
  const closing = createClosingProfile(yield* closingSteps(skeleton, DEFAULT_CLOSING));
  return { closing, natural: yield* naturalMotionSteps(skeleton, closing) };
}
