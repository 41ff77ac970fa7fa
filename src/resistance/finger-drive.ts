import type { SafetyProfile } from '../config/schema.js';

/**
 * What moves one finger, how hard it may, and for how long.
 *
 * Heat. First order: dh/dt = gain · drive² − h / coolS (copper loss ∝ current² ∝ torque²), only while the
 * finger is at its stop; an idle servo is taken as cold. The gain is such that full drive from cold brings h
 * to HEAT_FADE_FROM in maxHoldS. From there the permitted drive falls in a straight line, to the drive that
 * h = 1 can sustain forever. `hold` limits one long hold in the same spirit: after maxHoldS the effort fades
 * over HOLD_FADE_S to HOLD_SUSTAINED; letting go gives the time back as fast as it was used.
 */

/** Part of the thermal budget at which the drive begins to fade. */
export const HEAT_FADE_FROM = 0.8;
/** Effort that may be held forever. */
export const HOLD_SUSTAINED = 0.5;
/** Time over which effort fades once the hold time is used up, s. */
export const HOLD_FADE_S = 2;
/** A drive that does not heed the effort, once let go, rests until this part of its budgets is used. */
export const REST_TO = 0.75;

/** What moves one finger: all its actuators together, at their most cautious. */
export interface FingerDrive {
  /** Tension at drive 1, N; 0 when the finger has no actuator. */
  stallTensionN: number;
  /** Supply current at drive 1, A. */
  stallCurrentA: number;
  maxHoldS: number;
  coolS: number;
  /** It can pull the finger open (a string on a servo); a brake cannot. */
  pulls: boolean;
  /** How far the finger goes on past a stop for each newton at the string, mm of string. */
  giveMmPerN: number;
  /** How fast its string stop moves, curl a second; 0 without one. */
  speedCurlPerS: number;
  /** Its force follows the effort. If not, it holds with all it has or is free. */
  heedsEffort: boolean;
}

/** What follows from a fingerDrive and the profile, worked out once. */
export interface DriveModel extends FingerDrive {
  /** Drive at effort 1: the tension cap as a part of what the actuator can do. */
  permittedDrive: number;
  /** Rise of heat a second at drive 1, from the maxHoldS that full drive may last from cold. */
  heatGain: number;
  /** Drive whose heat settles at 1. */
  sustainableDrive: number;
}

export function modelOf(fingerDrive: FingerDrive, safety: SafetyProfile): DriveModel {
  const heatGain =
    HEAT_FADE_FROM / (fingerDrive.coolS * (1 - Math.exp(-fingerDrive.maxHoldS / fingerDrive.coolS)));
  // Field by field, whoever made it: the governor meets one shape of object.
  return {
    stallTensionN: fingerDrive.stallTensionN,
    stallCurrentA: fingerDrive.stallCurrentA,
    maxHoldS: fingerDrive.maxHoldS,
    coolS: fingerDrive.coolS,
    pulls: fingerDrive.pulls,
    giveMmPerN: fingerDrive.giveMmPerN,
    speedCurlPerS: fingerDrive.speedCurlPerS,
    heedsEffort: fingerDrive.heedsEffort,
    permittedDrive:
      fingerDrive.stallTensionN > 0 ? Math.min(1, safety.maxTensionN / fingerDrive.stallTensionN) : 0,
    heatGain,
    sustainableDrive: Math.min(1, Math.sqrt(1 / (heatGain * fingerDrive.coolS))),
  };
}

/** Drive that is permitted at a heat: 1 up to HEAT_FADE_FROM, the sustainable one at 1, 0 well beyond it. */
export const driveAtHeat = ({ sustainableDrive }: DriveModel, heat: number) => {
  if (heat <= HEAT_FADE_FROM) return 1;
  return Math.max(0, sustainableDrive + ((1 - sustainableDrive) * (1 - heat)) / (1 - HEAT_FADE_FROM));
};

/** Effort that is permitted once a hold has lasted so long. */
export const effortAfterHold = ({ maxHoldS }: DriveModel, holdS: number) => {
  const over = Math.min(1, Math.max(0, (holdS - maxHoldS) / HOLD_FADE_S));
  return 1 - over * (1 - HOLD_SUSTAINED);
};
