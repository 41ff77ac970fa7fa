import type { ActuatorProfile, SafetyProfile } from '../config/schema.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import type { Hello } from '../link/codec.js';
import { type CurlToTravel, paysOutForward, wireStop } from '../link/wire-stop.js';
import { MAX_ACTUATORS, STOP_FREE, STOP_MAX } from '../protocol/link-table.js';
import type { FingerDrive } from './finger-drive.js';
import type { GovernorOutputs } from './governor-step.js';
import { payout } from './stop-probe.js';
import type { FingerForce } from './touch-requests.js';

/** From fingers to the actuators of a glove: what they can do, and what is sent to them. */

/** One of the glove's outputs; undefined where the profile does not know it: it then stays free. */
export type GloveActuator = ActuatorProfile | undefined;

/** A brake reaches its full effort this far past the stop, and lets go this far back, curl. */
export const BRAKE_RAMP = 0.03;

/** Index of the finger an actuator acts on, or -1. */
export const actuatorFinger = (actuator: GloveActuator) =>
  actuator ? FINGERS.indexOf(actuator.role as Finger) : -1;

/** It can hold a finger (a vibration motor cannot). */
export const exertsForce = (actuator: GloveActuator) =>
  actuator !== undefined && actuator.kind !== 'vibration' && actuatorFinger(actuator) >= 0;

/** Its force follows the effort that is asked for. If not, it holds with all it has or is free. */
export const heedsEffort = ({ kind, torqueControl }: ActuatorProfile) => kind === 'brake' || torqueControl;

/** The profile's actuators in the order of the glove's hello: the n-th of a role and kind to the n-th. */
export function orderAsHello(
  profiles: readonly ActuatorProfile[],
  hello: Pick<Hello, 'actuators'>,
): GloveActuator[] {
  const left = [...profiles];
  return hello.actuators.map(({ role, kind }) => {
    const at = left.findIndex((profile) => profile.role === role && profile.kind === kind);
    return at < 0 ? undefined : left.splice(at, 1)[0];
  });
}

/** What moves each finger. Several actuators on one finger get the same drive: strengths add up. */
export function fingerDrivesOf(actuators: readonly GloveActuator[]): FingerDrive[] {
  const speeds = stopSpeedsOf(actuators);
  return FINGERS.map((_, finger) => {
    const own = actuators.filter(
      (actuator): actuator is ActuatorProfile => exertsForce(actuator) && actuatorFinger(actuator) === finger,
    );
    return {
      stallTensionN: own.reduce((sum, one) => sum + stallTensionN(one), 0),
      stallCurrentA: own.reduce((sum, one) => sum + one.stallCurrentA, 0),
      maxHoldS: own.length > 0 ? Math.min(...own.map((one) => one.maxHoldS)) : 1,
      coolS: own.length > 0 ? Math.max(...own.map((one) => one.coolS)) : 1,
      pulls: own.some((one) => one.kind === 'stringStop'),
      giveMmPerN: own.length > 0 ? Math.min(...own.map((one) => one.giveMmPerN)) : 0,
      speedCurlPerS: speeds[finger],
      heedsEffort: own.every(heedsEffort),
    };
  });
}

/** Speed of the string stop of each finger, curl a second: the slowest if it has several, 0 if it has none. */
export function stopSpeedsOf(actuators: readonly GloveActuator[]): number[] {
  return FINGERS.map((_, finger) => {
    const speeds = actuators
      .filter((one) => one?.kind === 'stringStop' && actuatorFinger(one) === finger)
      .map((one) => one?.speedCurlPerS ?? 0);
    return speeds.length > 0 ? Math.min(...speeds) : 0;
  });
}

/** Per finger: the tension at effort 1, whether it is stopped at a place, and how far that gives. */
export function forcesOf(actuators: readonly GloveActuator[], safety: SafetyProfile): FingerForce[] {
  return fingerDrivesOf(actuators).map((fingerDrive) => ({
    tensionN: Math.min(safety.maxTensionN, fingerDrive.stallTensionN),
    hasStop: fingerDrive.pulls,
    giveMPerN: fingerDrive.giveMmPerN / 1000,
  }));
}

/** Tension at stall, N: torque over the radius at which the string pulls. */
export const stallTensionN = (actuator: ActuatorProfile) =>
  actuator.stallTorqueNm / (actuator.spoolRadiusMm / 1000);

/** Drive of an actuator at the tension cap; a vibration motor has none. */
export const cappedDrive = (actuator: ActuatorProfile, safety: SafetyProfile) =>
  actuator.kind === 'vibration' ? 1 : Math.min(1, safety.maxTensionN / stallTensionN(actuator));

/** Wire values of a glove's actuators, in their order. Reused from step to step. */
export class ActuatorCommands {
  readonly count: number;
  /** 0..STOP_MAX or STOP_FREE. */
  readonly stops: Uint16Array;
  /** 0..255 of what the actuator can do: the tension cap is already in it, the glove knows of none. */
  readonly efforts: Uint8Array;
  private readonly fingers: readonly number[];
  /** Deepest curl that each brake holds; follows an opening finger. */
  private readonly grips: Float64Array;

  /** @param travel per actuator, where the string model gives better than a straight line */
  constructor(
    private readonly actuators: readonly GloveActuator[],
    private readonly travel: readonly (CurlToTravel | undefined)[] = [],
  ) {
    this.count = Math.min(actuators.length, MAX_ACTUATORS);
    this.stops = new Uint16Array(this.count).fill(STOP_FREE);
    this.efforts = new Uint8Array(this.count);
    this.fingers = actuators.map((actuator) => (exertsForce(actuator) ? actuatorFinger(actuator) : -1));
    this.grips = new Float64Array(this.count);
  }

  free(): void {
    this.stops.fill(STOP_FREE);
    this.efforts.fill(0);
  }

  /** @param probed finger of which the stops given are payout, not curl (StopProbe); -1: none */
  update(given: GovernorOutputs, curls: ArrayLike<number>, probed = -1): void {
    for (let at = 0; at < this.count; at++) {
      const actuator = this.actuators[at];
      const finger = this.fingers[at];
      this.stops[at] = STOP_FREE;
      this.efforts[at] = 0;
      if (!actuator || finger < 0) continue;
      const curl = curls[finger];
      if (actuator.kind === 'brake') this.grips[at] = grip(this.grips[at], curl);
      if (given.held[finger] !== 1) continue;
      if (finger === probed) {
        if (actuator.kind !== 'stringStop') continue;
        this.stops[at] = Math.round(payout(paysOutForward(actuator), given.stops[finger]) * STOP_MAX);
        this.efforts[at] = Math.floor(given.drives[finger] * 255);
        continue;
      }
      const press = actuator.kind === 'brake' ? brakePress(curl, given.stops[finger], this.grips[at]) : 1;
      const effort = Math.floor(given.drives[finger] * press * 255);
      if (!(effort > 0)) continue;
      this.stops[at] = wireStop(actuator, given.stops[finger], this.travel[at]);
      this.efforts[at] = this.stops[at] === STOP_FREE ? 0 : effort;
    }
  }
}

/** A brake holds the deepest curl; when the finger opens, the grip follows it BRAKE_RAMP behind. */
const grip = (last: number, curl: number) =>
  Number.isFinite(curl) ? Math.max(curl, Math.min(last, curl + BRAKE_RAMP)) : last;

/**
 * A brake knows no stop: its effort rises with the depth past it. A brake holds both ways, so it lets go of
 * a finger that opens.
 */
const brakePress = (curl: number, stop: number, gripAt: number) => {
  const depth = Math.min(1, Math.max(0, (curl - stop) / BRAKE_RAMP));
  const kept = Math.min(1, Math.max(0, 1 - (gripAt - curl) / BRAKE_RAMP));
  return depth * kept;
};
