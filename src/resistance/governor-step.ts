import type { Asked } from './arbitration.js';
import { FINGER_COUNT } from './requests.js';

/** What a step of the governor is given, and what it gives. */

/** Read by a step; the caller owns and refills it. */
export interface GovernorInputs {
  /** Curl per finger where a stop is asked for. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum per finger; 0: nothing is asked. */
  efforts: Float64Array;
  /** Per finger: end of the request. */
  expiresUs: Float64Array;
  /** Curl per finger: measured or held, or where it will be when its stop is there. */
  curls: Float64Array;
  /** Curl per finger, as measured now; absent: `curls` are. */
  measured?: Float64Array;
  /** Per finger: 1 while its channel is healthy. */
  healthy: Uint8Array;
  /**
   * Per finger: part of its drive, 0..1, with which a held finger counts as pressing on its stop whatever its curl,
   * for heat and hold time.
   */
  pressing?: Float64Array;
  /** Drive per finger that pulses add for now; counts as heat. */
  pulseDrives: Float64Array;
  /** Current that pulses of the glove draw for now, A. */
  pulseCurrentA: number;
  /** Age of the newest sample, µs. A little less than 0 is possible: device time is mapped. */
  sampleAgeUs: number;
  linkLive: boolean;
}

/** Written by a step. */
export interface GovernorOutputs {
  /** 1: held at a stop; 0: free. */
  held: Uint8Array;
  /** Curl; 1 when free. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum. */
  efforts: Float64Array;
  /** 0..1 of what the actuator can do. */
  drives: Float64Array;
  tensionsN: Float64Array;
  /** Part of the thermal budget that is used, 0..1. */
  heats: Float64Array;
  /** LIMIT_BIT of every limit that acted. */
  limits: Uint16Array;
  /** True while any finger is held. */
  anyHeld: boolean;
}

const perFinger = () => new Float64Array(FINGER_COUNT);

/** Inputs over what was asked and measured; a glove that has sent nothing yet. */
export const makeGovernorInputs = (
  asked: Asked,
  curls: Float64Array,
  measured: Float64Array,
): GovernorInputs => ({
  stops: asked.stops,
  efforts: asked.efforts,
  expiresUs: asked.expiresUs,
  curls,
  measured,
  healthy: new Uint8Array(FINGER_COUNT),
  pressing: perFinger(),
  pulseDrives: perFinger(),
  pulseCurrentA: 0,
  sampleAgeUs: Number.POSITIVE_INFINITY,
  linkLive: false,
});

export const makeGovernorOutputs = (): GovernorOutputs => ({
  held: new Uint8Array(FINGER_COUNT),
  stops: perFinger().fill(1),
  efforts: perFinger(),
  drives: perFinger(),
  tensionsN: perFinger(),
  heats: perFinger(),
  limits: new Uint16Array(FINGER_COUNT),
  anyHeld: false,
});
