import type { Profile } from '../config/schema.js';
import { unusedOf } from '../resistance/unused.js';
import { unusedLines } from '../resistance/unused-lines.js';
import { fingerDrivesOf } from './actuators.js';

/** Something that a profile permits but its maker should know. As the governor reckons it. */
export interface Caution {
  /** Name of the glove. */
  glove: string;
  says: string;
  /** What to do about it. */
  remedy: string;
}

export function cautionsOf({ gloves, safety }: Profile): Caution[] {
  return gloves.flatMap(({ name: glove, actuators }) => {
    const unused = unusedOf(actuators, safety);
    const cautions = unusedLines(actuators.map(({ role }, i) => ({ role, unused: unused[i] }))).map(
      (line): Caution => ({ glove, ...line }),
    );
    // What is never used draws nothing.
    const used = fingerDrivesOf(actuators.filter((_, i) => !unused[i])).filter(
      ({ heedsEffort }) => !heedsEffort,
    );
    const currentA = used.reduce((sum, { stallCurrentA }) => sum + stallCurrentA, 0);
    if (currentA > safety.maxSupplyA) {
      cautions.push({
        glove,
        says:
          `its servos can draw ${currentA.toFixed(1)} A together, more than the ${safety.maxSupplyA} A of ` +
          'safety.maxSupplyA: when all are held, some are let go.',
        remedy: 'Use a stronger supply and say so there.',
      });
    }
    return cautions;
  });
}

export const cautionLine = ({ glove, says, remedy }: Caution): string => `${glove}: ${says} ${remedy}`;
