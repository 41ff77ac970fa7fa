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
 * A soft surface: within its depth the stop goes with the finger and the effort grows in proportion; at its
 * end it is hard. (A servo cannot push by a force, but a string that is just taut at a growing effort drags
 * like a spring.) With depth 0 it is a hard stop at the surface.
 */
export function soften(surface: number, depth: number, effort: number, curl: number, felt: Felt): void {
  const sunk = depth > 0 ? clamp01((curl - surface) / depth) : 1;
  felt.stopAt = clamp01(surface + (depth > 0 ? sunk * depth : 0));
  felt.effort = effort * sunk;
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
 * Where a finger will be when its actuator has reached a stop, curl. The actuator needs
 * |stop - position| / speed, after a delay; the finger goes on at its speed meanwhile, for MAX_LEAD_S at most.
 * Asking contact for this curl lets the stop be there before the finger is.
 * @param speed of the finger, curl a second, positive when closing
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
  const leadS = Math.min(MAX_LEAD_S, Math.max(0, delayS + Math.abs(stop - actuatorAt) / actuatorSpeed));
  const there = clamp01(curl + speed * leadS);
  return Number.isFinite(there) ? there : curl;
}
