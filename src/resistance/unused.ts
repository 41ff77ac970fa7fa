import { figure, kgCmInNm, RADIUS_MM } from '../config/plausible-parts.js';
import type { ActuatorProfile, SafetyProfile } from '../config/schema.js';
import { actuatorFinger, exertsForce, fingerDrivesOf, type GloveActuator } from './actuators.js';
import type { Unused } from './unused-lines.js';

/** From here on a torque may be kg·cm in the wrong place, and up to here a radius cm. Common practice, no source. */
const MAYBE_KG_CM = 0.4;
const MAYBE_CM = 5;

/** Per actuator: why it is never used; undefined where it is, or where it could hold nothing anyway. */
export function unusedOf(actuators: readonly GloveActuator[], safety: SafetyProfile): (Unused | undefined)[] {
  const fingerDrives = fingerDrivesOf(actuators);
  return actuators.map((actuator) => {
    if (!exertsForce(actuator)) return undefined;
    const finger = actuatorFinger(actuator);
    const { heedsEffort, stallTensionN, stallCurrentA } = fingerDrives[finger];
    if (heedsEffort) return undefined;
    const own = actuators.filter(
      (one): one is ActuatorProfile => exertsForce(one) && actuatorFinger(one) === finger,
    );
    if (stallTensionN > safety.maxTensionN) return tooStrong(own, stallTensionN, safety);
    if (stallCurrentA > safety.maxSupplyA) return drawsTooMuch(own, stallCurrentA, safety);
    return undefined;
  });
}

function tooStrong(
  own: readonly ActuatorProfile[],
  tensionN: number,
  { maxTensionN }: SafetyProfile,
): Unused {
  const [{ stallTorqueNm, spoolRadiusMm }] = own;
  const alone = own.length === 1;
  const what = alone
    ? `the servo pulls up to ${figure(tensionN)} N (stallTorqueNm ${figure(stallTorqueNm)} at spoolRadiusMm ${figure(spoolRadiusMm)})`
    : `the servo and what acts beside it pull up to ${figure(tensionN)} N together (stallTorqueNm at spoolRadiusMm)`;
  // Rounded up, so that what is advised is enough.
  const enoughMm = Math.ceil((stallTorqueNm / maxTensionN) * 1e4 + 1e-6) / 10;
  const larger = alone ? `a spoolRadiusMm of ${figure(enoughMm)} or more` : 'a larger spoolRadiusMm';
  const wide = alone && enoughMm > RADIUS_MM.most;
  const doubts = alone
    ? [
        stallTorqueNm >= MAYBE_KG_CM
          ? ` If ${figure(stallTorqueNm)} is kg·cm: ${kgCmInNm(stallTorqueNm)}.`
          : '',
        spoolRadiusMm <= MAYBE_CM
          ? ` If ${figure(spoolRadiusMm)} is cm: the radius is ${figure(spoolRadiusMm * 10)} mm.`
          : '',
      ]
    : [];
  return {
    reason: `${what}, more than the ${figure(maxTensionN)} N of safety.maxTensionN, and a hobby servo cannot pull less`,
    remedy:
      `Use ${wide ? '' : `${larger} or `}a weaker servo, or set torqueControl if its drive limits its torque to the ` +
      `effort. Raise safety.maxTensionN only with care.${doubts.join('')}`,
  };
}

const drawsTooMuch = (
  { length }: readonly ActuatorProfile[],
  currentA: number,
  { maxSupplyA }: SafetyProfile,
): Unused => ({
  reason:
    `${length === 1 ? 'the servo alone can draw' : 'the servo and what acts beside it can draw'} ` +
    `${figure(currentA)} A (stallCurrentA), more than the ${figure(maxSupplyA)} A of safety.maxSupplyA`,
  remedy: 'Use a stronger supply and say so there, or a servo that draws less.',
});
