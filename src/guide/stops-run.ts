import { FINGERS } from '../hand/joints.js';
import type { Resistance } from '../resistance/resistance.js';
import type { Channel } from '../sensing/channels.js';
import { type ActuatorFit, createActuatorFit, type StopToFit } from './actuator-fit.js';
import type { GuideReport, StopsReport } from './report.js';

/** A fit of the actuators that nobody arms is forgotten: a later arm is meant for something else. */
const ARM_WITHIN_US = 120e6;

export interface StopsRunSources {
  stops: readonly StopToFit[];
  channels(): readonly Channel[];
  resistance(): Resistance;
  disarm(by: string): void;
}

/** One fit of the string stops, from the prompt to arm to its end, behind the governor. */
export interface StopsRun {
  /** What the wearer is asked now is to arm. */
  readonly asksToArm: boolean;
  readonly move: NonNullable<GuideReport['move']>;
  /**
   * One sample. @returns what was found, once that is known, or why it ends
   * @param healthy per finger, 1: measured
   */
  feel(
    nowUs: number,
    curls: ArrayLike<number>,
    healthy: ArrayLike<number>,
    counts: ArrayLike<number>,
  ): Pick<StopsReport, 'fitted' | 'unfitted'> | { stopped: string } | undefined;
  /** Nobody is held when the run is over, however it ended. */
  end(): void;
}

export function createStopsRun({ stops, channels, resistance, disarm }: StopsRunSources): StopsRun {
  const fit: ActuatorFit = createActuatorFit(stops);
  const beyond = new Float64Array(FINGERS.length);
  /** When the wearer was asked to arm. */
  let askedUs = Number.NaN;

  /** Curls, below 0 where the sensor of a whole finger reads beyond its open end. */
  function readBeyond(curls: ArrayLike<number>, counts: ArrayLike<number>): void {
    for (let finger = 0; finger < beyond.length; finger++) beyond[finger] = curls[finger];
    for (const { kind, finger, open, closed, source } of channels()) {
      if (kind !== 'curl' || source < 0) continue;
      const part = (counts[source] - open) / (closed - open);
      if (part < 0) beyond[finger] = part;
    }
  }

  return {
    get asksToArm() {
      return fit.phase === 'arm';
    },
    get move() {
      const { phase, prompt, number, count, part } = fit;
      return { name: phase, prompt, number, count, part };
    },
    feel(nowUs, curls, healthy, counts) {
      const held = resistance();
      const { armed } = held;
      const first = fit.phase === 'arm';
      if (!first && !armed) return { stopped: `Disarmed: ${held.status.reason}. Begin again.` };
      if (Number.isNaN(askedUs)) askedUs = nowUs;
      if (first && nowUs - askedUs > ARM_WITHIN_US) {
        return { stopped: 'The glove was not armed within two minutes: begin again.' };
      }
      if (first && armed) held.beginProbing();
      readBeyond(curls, counts);
      fit.step(nowUs / 1e6, beyond, healthy, armed, held.probed);
      const { finger, target, effort, fitted, unfitted } = fit;
      held.probe(finger, target, effort, nowUs);
      return fit.phase === 'done' ? { fitted, unfitted } : undefined;
    },
    end() {
      const held = resistance();
      held.endProbing();
      if (held.armed) disarm('the fit of the actuators is over');
    },
  };
}
