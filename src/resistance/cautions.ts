import type { Profile } from '../config/schema.js';
import { FINGERS } from '../hand/joints.js';
import { lanesOf } from './actuators.js';

/** What a profile permits but its maker should know: one line each, with what to do. As the governor reckons it. */
export function cautionsOf({ gloves, safety }: Profile): string[] {
  return gloves.flatMap(({ name, actuators }) => {
    const rigid = lanesOf(actuators)
      .map((lane, finger) => ({ ...lane, finger: FINGERS[finger] }))
      .filter(({ heedsEffort }) => !heedsEffort);
    const lines: string[] = [];
    const strong = rigid.filter(({ stallTensionN }) => stallTensionN > safety.maxTensionN);
    if (strong.length > 0) {
      const mostN = Math.max(...strong.map(({ stallTensionN }) => stallTensionN));
      lines.push(
        `${name}: ${strong.map(({ finger }) => finger).join(', ')} stay${strong.length > 1 ? '' : 's'} free: the servo pulls ` +
          `up to ${mostN.toFixed(1)} N, more than the ${safety.maxTensionN} N of safety.maxTensionN, and a hobby servo ` +
          'cannot pull less. Use a larger spoolRadiusMm or a weaker servo, or set torqueControl if its drive obeys ' +
          'the effort.',
      );
    }
    const currentA = rigid.reduce((sum, { stallCurrentA }) => sum + stallCurrentA, 0);
    if (currentA > safety.maxSupplyA) {
      lines.push(
        `${name}: its servos can draw ${currentA.toFixed(1)} A together, more than the ${safety.maxSupplyA} A of ` +
          'safety.maxSupplyA: when all are held, some are let go. Use a stronger supply and say so there.',
      );
    }
    return lines;
  });
}
