import type { ActuatorProfile } from '../config/schema.js';
import { STOP_FREE, STOP_MAX } from '../protocol/link-table.js';

/** The wire value of a stop, from what the profile says about its actuator. */

/** String travel (0 at open, 1 at closed) at which the finger's string is taut at a curl. Monotone. */
export type CurlToTravel = (curl: number) => number;

/**
 * Wire stop at a curl, rounded away from the finger. Where the servo is mounted the other way round,
 * stopAtOpen is the greater one.
 */
export function wireStop(actuator: ActuatorProfile, curl: number, curlToTravel?: CurlToTravel): number {
  const { stopAtOpen, stopAtClosed } = actuator;
  const travel = curlToTravel ? curlToTravel(curl) : curl;
  const exact = (stopAtOpen + (stopAtClosed - stopAtOpen) * travel) * STOP_MAX;
  if (!Number.isFinite(exact)) return STOP_FREE;
  const rounded = stopAtClosed >= stopAtOpen ? Math.ceil(exact) : Math.floor(exact);
  return Math.min(STOP_MAX, Math.max(0, rounded));
}

/** The string is paid out towards wire stop 1. */
export const paysOutForward = ({ stopAtOpen, stopAtClosed }: ActuatorProfile) => stopAtClosed >= stopAtOpen;

/** Wire stop at which a string is paid out beyond a closed finger: for gloves without a command for "free". */
export const paidOutStop = (actuator: ActuatorProfile, slack = actuator.slack): number =>
  wireStop(actuator, 1 + slack);
