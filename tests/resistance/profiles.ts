import type { ActuatorProfile, SafetyProfile } from '../../src/config/schema.js';
import { FINGERS } from '../../src/hand/joints.js';

export const SAFETY: SafetyProfile = {
  maxTensionN: 8,
  maxStopRatePerS: 10,
  allowPull: false,
  defaultTtlMs: 250,
  maxTtlMs: 1000,
  staleMs: 100,
  maxSupplyA: 2.5,
};

export const SERVO: Omit<ActuatorProfile, 'role'> = {
  kind: 'stringStop',
  stopAtOpen: 0,
  stopAtClosed: 1,
  slack: 0.05,
  stallTorqueNm: 0.15,
  spoolRadiusMm: 10,
  giveMmPerN: 0,
  torqueControl: true,
  speedCurlPerS: 5,
  stallCurrentA: 0.7,
  maxHoldS: 10,
  coolS: 30,
};

/** Stall torque over spool radius: 0.15 N·m / 10 mm. */
export const SERVO_STALL_N = 15;

export const servo = (
  role: ActuatorProfile['role'],
  other: Partial<ActuatorProfile> = {},
): ActuatorProfile => ({
  ...SERVO,
  role,
  ...other,
});

export const FIVE_SERVOS = FINGERS.map((role) => servo(role));

export const all = (value: number) => new Array<number>(5).fill(value);
