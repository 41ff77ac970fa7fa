import { asSkeletonOptions, type SavedHand } from '../config/fit-file.js';
import type { Profile } from '../config/schema.js';
import { type HandModel, type HandMotion, handMotionSteps } from '../hand/hand-model.js';
import type { HandSide } from '../hand/joints.js';
import { createSkeleton, type SkeletonOptions } from '../hand/skeleton.js';
import { atOnce } from '../steps.js';
import { inTimeSlices } from '../time-slices.js';

/**
 * Models of the hands in use. Working out how a hand moves takes a tenth of a second, longer on a slow machine: far
 * too long for other gloves and apps to wait. So it is done once for all hands with the same bones, and whoever knows
 * which hand comes next prepares it between other work.
 */
const known = new Map<string, HandMotion>();
/** Hands of several people, sessions and fits; some 20 kB each. */
const MOST_KNOWN = 16;

/** The wearer's hand by the profile's measures, or by a fit of it. */
export function wornHand(side: HandSide, wearer: Profile['wearer'], fitted?: SavedHand): SkeletonOptions {
  if (fitted) return { side, ...asSkeletonOptions(fitted) };
  return { side, lengthM: wearer.handLengthMm / 1000, breadthM: wearer.handBreadthMm / 1000 };
}

/** Immediate if it was prepared. @throws RangeError for bones that no hand has */
export function handModel(options: SkeletonOptions): HandModel {
  const skeleton = createSkeleton(options);
  const key = keyOf(options);
  const motion = known.get(key) ?? atOnce(handMotionSteps(skeleton));
  remember(key, motion);
  return { skeleton, ...motion };
}

/** Prepares, between other work, what handModel needs. @throws RangeError for bones that no hand has */
export async function prepareHandModel(options: SkeletonOptions): Promise<void> {
  const key = keyOf(options);
  if (!known.has(key)) remember(key, await inTimeSlices(handMotionSteps(createSkeleton(options))));
}

/** prepareHandModel for a wearer's hand; impossible bones are reported when they are put to use. */
export async function prepareWornHand(...worn: Parameters<typeof wornHand>): Promise<void> {
  await prepareHandModel(wornHand(...worn)).catch(() => {});
}

/** A left hand moves as the right one of the same bones. */
const keyOf = ({ side: _side, ...bones }: SkeletonOptions): string => JSON.stringify(bones);

function remember(key: string, motion: HandMotion): void {
  known.delete(key);
  known.set(key, motion);
  if (known.size > MOST_KNOWN) known.delete(known.keys().next().value!);
}
