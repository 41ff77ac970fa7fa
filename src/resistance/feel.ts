/**
 * What a touched surface feels like, as stops and efforts to ask for. All of it goes through the governor
 * like any request: nothing here can lift a limit. Pure functions of their arguments.
 */

/** Speed along a surface at which a texture is felt in full, curl a second. */
const TEXTURE_FULL_SPEED = 0.5;
/** Part of the effort that is kept for the knock of an impact, and how fast the knock dies away, s. */
const KNOCK_SHARE = 0.3;
const KNOCK_DECAY_S = 0.04;
/** Speed of impact that knocks in full, curl a second: a brisk grasp closes the hand in half a second. */
const KNOCK_FULL_SPEED = 2;
/** Never predict further than this, s: beyond it a finger may have turned round. */
export const MAX_LEAD_S = 0.1;

/** A soft stop keeps this far ahead of a finger at the surface, curl: over the noise of a healthy channel. */
const GIVE = 0.02;
/** Part of the effort that a soft surface has before it is pressed. */
const LEAST_EFFORT = 0.1;

const clamp01 = (value: number) => Math.min(1, Math.max(0, value));

/** A stop and effort, written in place. */
export interface Felt {
  stopAt: number;
  effort: number;
}

/**
 * Depth of a soft surface, curl: how far the finger sinks in before the whole effort holds it. By Hooke's
 * law the depth is force / stiffness.
 * @param stiffnessNPerM of the surface; anything that is not a positive number is hard
 * @param fullForceN force at effort 1
 * @param travelM path of the fingertip from curl 0 to 1
 */
export function softDepth(stiffnessNPerM: number, fullForceN: number, travelM: number): number {
  const depth = fullForceN / stiffnessNPerM / travelM;
  return Number.isFinite(depth) && depth > 0 ? Math.min(1, depth) : 0;
}

/**
 * A soft surface: within its depth the stop eases with the finger and the effort grows in proportion; at its
 * end it is hard. With depth 0 it is a hard stop at the surface.
 *
 * Most servos hold with all they have or not at all, and a sensor on the same string never sees a finger press
 * past its stop. So the stop keeps a little ahead of the finger, by less the deeper it is: a slow finger sinks
 * in, a quick one runs up against it, and it gives way ever more slowly. It waits at the surface with a little
 * effort, so that it is there when the finger comes. A brake knows no stop: it drags more with depth.
 * @param hasStop false for a brake
 */
export function soften(
  surface: number,
  depth: number,
  effort: number,
  curl: number,
  hasStop: boolean,
  felt: Felt,
): void {
  if (!(depth > 0)) {
    felt.stopAt = clamp01(surface);
    felt.effort = effort;
    return;
  }
  const sunk = clamp01((curl - surface) / depth);
  const ahead = hasStop ? Math.max(surface, Math.min(surface + depth, curl + GIVE * (1 - sunk))) : surface;
  felt.stopAt = clamp01(ahead);
  felt.effort = effort * (hasStop ? Math.max(LEAST_EFFORT, sunk) : sunk);
}

/**
 * The effort of a rough surface: it dips `amplitude` of itself `frequencyHz` times a second while the finger
 * moves, and is steady while the finger rests. Never more than `effort`.
 * @param timeUs any clock that runs on
 * @param speed of the finger, curl a second
 */
export function roughen(
  effort: number,
  amplitude: number,
  frequencyHz: number,
  timeUs: number,
  speed: number,
): number {
  const felt = clamp01(amplitude) * clamp01(Math.abs(speed) / TEXTURE_FULL_SPEED);
  const wave = 0.5 - 0.5 * Math.cos(2 * Math.PI * frequencyHz * (timeUs / 1e6));
  return effort * (1 - felt * wave);
}

/**
 * The effort just after a finger has met a surface: a knock by its speed, dying away to what is held.
 * A slow touch has no knock; never more than `effort`.
 * @param sinceS time since the contact began
 * @param speed of the finger when it met the surface, curl a second
 */
export function knock(effort: number, sinceS: number, speed: number): number {
  const full = clamp01(speed / KNOCK_FULL_SPEED);
  const fading = Math.exp(-Math.max(0, sinceS) / KNOCK_DECAY_S);
  return effort * (1 - full * KNOCK_SHARE * (1 - fading));
}

/**
 * Where a finger will be when its actuator has reached a stop, or the finger itself on the way there, curl. The
 * finger goes on at its speed meanwhile, for MAX_LEAD_S at most. Asking contact and governor for this curl lets
 * the stop be there before the finger is, and keeps a late one from drawing the finger back.
 * @param speed of the finger, curl a second, positive when closing
 * @param actuatorAt curl at which the actuator would stop the finger now
 * @param actuatorSpeed curl a second (ActuatorProfile.speedCurlPerS)
 * @param delayS from deciding to moving: link, firmware
 */
export function curlOnArrival(
  curl: number,
  speed: number,
  actuatorAt: number,
  stop: number,
  actuatorSpeed: number,
  delayS: number,
): number {
  const toStopS = Math.abs(stop - actuatorAt) / actuatorSpeed + delayS;
  // Finger and actuator come towards each other from either side; behind the finger it never goes.
  const gap = Math.max(0, actuatorAt - curl) + actuatorSpeed * delayS;
  const toFingerS = speed > 0 ? gap / (actuatorSpeed + speed) : Number.POSITIVE_INFINITY;
  const leadS = Math.min(MAX_LEAD_S, Math.max(0, Math.min(toStopS, toFingerS)));
  const there = clamp01(curl + speed * leadS);
  return Number.isFinite(there) ? there : curl;
}
