import type { ActuatorProfile, SafetyProfile } from '../../src/config/schema.js';
import { fingerDrivesOf } from '../../src/resistance/actuators.js';
import { Governor } from '../../src/resistance/governor.js';
import type { GovernorInputs } from '../../src/resistance/governor-step.js';
import { limitNames } from '../../src/resistance/limits.js';
import { FIVE_SERVOS, SAFETY } from './profiles.js';

export const INDEX = 1;
export const STEP_US = 4000;

/** A governor of one hand whose index finger is asked for a stop; the test changes what it wants to. */
export class GovernedHand {
  nowUs = 1_000_000;
  readonly inputs: GovernorInputs = {
    stops: new Float64Array(5).fill(1),
    efforts: new Float64Array(5),
    expiresUs: new Float64Array(5).fill(Number.POSITIVE_INFINITY),
    curls: new Float64Array(5).fill(0.2),
    healthy: new Uint8Array(5).fill(1),
    pulseDrives: new Float64Array(5),
    pulseCurrentA: 0,
    sampleAgeUs: 0,
    linkLive: true,
  };
  readonly governor: Governor;

  constructor(actuators: ActuatorProfile[] = FIVE_SERVOS, safety: Partial<SafetyProfile> = {}) {
    this.governor = new Governor(fingerDrivesOf(actuators), { ...SAFETY, ...safety });
    this.governor.arm(0, 'wearer');
    this.ask(0.5);
  }

  ask(stop: number, effort = 1, finger = INDEX): this {
    this.inputs.stops[finger] = stop;
    this.inputs.efforts[finger] = effort;
    return this;
  }
  curl(curl: number): this {
    this.inputs.curls[INDEX] = curl;
    return this;
  }
  step(passUs = STEP_US): this {
    this.nowUs += passUs;
    this.governor.step(this.nowUs, this.inputs);
    return this;
  }
  run(seconds: number): this {
    for (let n = Math.round((seconds * 1e6) / STEP_US); n > 0; n--) this.step();
    return this;
  }
  get held() {
    return this.governor.outputs.held[INDEX] === 1;
  }
  get stop() {
    return this.governor.outputs.stops[INDEX];
  }
  get effort() {
    return this.governor.outputs.efforts[INDEX];
  }
  get limits() {
    return limitNames(this.governor.outputs.limits[INDEX]);
  }
  events() {
    const events: { finger: number; reason: string; asked: number; given: number }[] = [];
    this.governor.events.drain((_timeUs, finger, reason, asked, given) =>
      events.push({ finger, reason, asked, given }),
    );
    return events;
  }
}
