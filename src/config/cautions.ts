import { stallTensionN } from '../resistance/actuators.js';
import type { Profile } from './schema.js';

/** What a profile permits but its maker should know: one line each, with what to do. */
export function cautionsOf({ gloves, safety }: Profile): string[] {
  return gloves.flatMap(({ name, actuators }) =>
    actuators
      .filter(
        (one) => one.kind === 'stringStop' && !one.torqueControl && stallTensionN(one) > safety.maxTensionN,
      )
      .map(
        (one) =>
          `${name}: the ${one.role} servo pulls up to ${stallTensionN(one).toFixed(1)} N, more than the ` +
          `${safety.maxTensionN} N of safety.maxTensionN, and nothing but its own stall limits a hobby servo. ` +
          'Use a larger spoolRadiusMm or a weaker servo, or set torqueControl if its drive obeys the effort.',
      ),
  );
}
