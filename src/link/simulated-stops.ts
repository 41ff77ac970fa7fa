import type { Mutable } from '../mutable.js';
import { MAX_ACTUATORS, STOP_FREE, STOP_MAX } from '../protocol/link-table.js';
import type { Resist } from './messages.js';
import { FINGER_COUNT } from './simulated-motion.js';

/** Speed of a stop, in finger curl a second: a hobby servo's 60 degrees in some 0.1 s (common practice). */
const STOP_SPEED = 6;
/** Curl per second at which a released finger follows the hand: fast, but not the leap of a loose plug. */
const FOLLOW_SPEED = 8;
/** How far a finger pushes into a stop: strings stretch, gloves shift, and more so at low effort. */
const GIVE_AT_FULL_EFFORT = 0.015;
const GIVE_AT_NO_EFFORT = 0.06;

/** The string stops of a glove without hardware, and how its fingers give way to them. Pure. */
export interface SimulatedStops {
  /** Where each actuator stops its finger now, in curl; Infinity when free. */
  readonly stops: Float64Array;
  readonly holding: boolean;
  hold(resist: Resist): void;
  release(): void;
  /**
   * Moves the stops, and keeps each finger from passing its own.
   * @param curls where the hand wants its fingers; written
   */
  move(curls: Float64Array, sincePreviousUs: number): void;
}

export function createSimulatedStops(): SimulatedStops {
  const stops = new Float64Array(MAX_ACTUATORS).fill(Number.POSITIVE_INFINITY);
  const wanted = new Float64Array(MAX_ACTUATORS).fill(Number.POSITIVE_INFINITY);
  const efforts = new Float64Array(MAX_ACTUATORS);
  /** Curl of fingers that a stop keeps, or just kept, from where the hand wants them; otherwise Infinity. */
  const behind = new Float64Array(FINGER_COUNT).fill(Number.POSITIVE_INFINITY);
  const simulated: Mutable<SimulatedStops> = {
    stops,
    holding: false,
    hold(resist) {
      simulated.holding = false;
      for (let i = 0; i < FINGER_COUNT; i++) {
        const free = i >= resist.count || resist.stops[i] === STOP_FREE || resist.efforts[i] === 0;
        efforts[i] = free ? 0 : resist.efforts[i] / 255;
        wanted[i] = free ? Number.POSITIVE_INFINITY : resist.stops[i] / STOP_MAX;
        if (free) stops[i] = Number.POSITIVE_INFINITY;
        else {
          simulated.holding = true;
          // A free actuator is parked at the closed end, out of the finger's way.
          if (stops[i] === Number.POSITIVE_INFINITY) stops[i] = 1;
        }
      }
    },
    release() {
      stops.fill(Number.POSITIVE_INFINITY);
      wanted.fill(Number.POSITIVE_INFINITY);
      simulated.holding = false;
    },
    move(curls, sincePreviousUs) {
      const followed = (FOLLOW_SPEED * sincePreviousUs) / 1e6;
      const step = (STOP_SPEED * sincePreviousUs) / 1e6;
      for (let i = 0; i < FINGER_COUNT; i++) {
        const meant = curls[i];
        if (curls[i] > behind[i] + followed) curls[i] = behind[i] + followed;
        if (wanted[i] !== Number.POSITIVE_INFINITY) {
          stops[i] += Math.max(-step, Math.min(step, wanted[i] - stops[i]));
          const beyond = curls[i] - stops[i];
          const give = GIVE_AT_NO_EFFORT + (GIVE_AT_FULL_EFFORT - GIVE_AT_NO_EFFORT) * efforts[i];
          if (beyond > 0) curls[i] = stops[i] + give * (1 - Math.exp(-beyond / give));
        }
        behind[i] = curls[i] < meant ? curls[i] : Number.POSITIVE_INFINITY;
      }
    },
  };
  return simulated;
}
