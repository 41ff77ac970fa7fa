import { type ClosingProfile, createClosingProfile } from './closing.js';
import { closingToPalm } from './fist.js';
import { createNaturalMotion, type NaturalMotion } from './natural-motion.js';
import { createSkeleton, type Skeleton, type SkeletonOptions } from './skeleton.js';

/** All that does not change while one hand wears one glove. */
export interface HandModel {
  readonly skeleton: Skeleton;
  readonly closing: ClosingProfile;
  readonly natural: NaturalMotion;
}

/** Some tenths of a second of work the first time: make it before the frames come. */
export function createHandModel(options: SkeletonOptions): HandModel {
  const skeleton = createSkeleton(options);
  const closing = createClosingProfile(closingToPalm(skeleton));
  return { skeleton, closing, natural: createNaturalMotion(skeleton, closing) };
}
