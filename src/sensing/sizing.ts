import { FINGERS } from '../hand/joints.js';
import { converterOf, fingersOf } from './sizing-converter.js';
import { driveOf } from './sizing-drive.js';
import type { FingerSizing, Sizing, SizingInput } from './sizing-parts.js';
import { profileLines } from './sizing-profile.js';
import { supplyOf } from './sizing-supply.js';

export * from './sizing-parts.js';

/**
 * A whole glove from its parts: sensors (sizing-converter.ts), servos (sizing-drive.ts), supply (sizing-supply.ts), and the
 * lines of the profile that say the same. The figures are those of the index finger; the other fingers stand beside it.
 */
export function sizeGlove(input: SizingInput): Sizing {
  const fingers = fingersOf(input);
  const index = fingers[FINGERS.indexOf('index')];
  const parts = [converterOf(input, index), driveOf(input, index, widestOf(fingers)), supplyOf(input)];
  return {
    fingers,
    figures: parts.flatMap(({ figures }) => figures),
    warnings: parts.flatMap(({ warnings }) => warnings),
    profile: profileLines(input, fingers),
  };
}

const widestOf = (fingers: readonly FingerSizing[]): FingerSizing =>
  fingers.reduce((widest, finger) => (finger.swingDeg > widest.swingDeg ? finger : widest));
