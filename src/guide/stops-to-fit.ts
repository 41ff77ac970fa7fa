import { FINGERS } from '../hand/joints.js';
import { type CurlToTravel, paysOutForward } from '../link/wire-stop.js';
import { actuatorFinger, exertsForce, type GloveActuator } from '../resistance/actuators.js';
import type { StopToFit } from './actuator-fit.js';

/** Fingers whose only actuator is one string stop: where two work on a finger, neither can be told apart. */
export function stopsToFit(
  actuators: readonly GloveActuator[],
  travel: readonly (CurlToTravel | undefined)[],
): StopToFit[] {
  return FINGERS.flatMap((_, finger) => {
    const own = [...actuators.keys()].filter(
      (at) => exertsForce(actuators[at]) && actuatorFinger(actuators[at]) === finger,
    );
    const actuator = own.length === 1 ? actuators[own[0]] : undefined;
    if (actuator?.kind !== 'stringStop') return [];
    return [{ finger, forward: paysOutForward(actuator), travel: travel[own[0]] }];
  });
}
