import { FINGERS } from '../hand/joints.js';
import type { Sensing } from '../sensing/sensing.js';

/**
 * Curl per finger as the newest sample reads. The filter that keeps a picture steady is up to 20 ms late, and a stop that
 * is kept clear of the filtered finger would be behind the true one by what that closes meanwhile.
 */
export interface NewestCurls {
  /** The filtered curl, or what the newest sample says if that is further closed; valid until the next call. */
  update(): Float64Array;
}

type Sensed = Pick<Sensing, 'channels' | 'raw' | 'values' | 'curl'>;

/** Degree of freedom of a finger that does not bend it. */
const ABDUCTION = 1;

export function createNewestCurls({ channels, raw, values, curl }: Sensed): NewestCurls {
  // A finger that is sensed joint by joint has closed by no more than the joint that has moved most.
  const slots = channels.flatMap(({ kind, part }, slot) =>
    kind === 'curl' || (kind === 'joint' && part !== ABDUCTION) ? [slot] : [],
  );
  const fingers = slots.map((slot) => channels[slot].finger);
  const curls = new Float64Array(FINGERS.length);
  return {
    update() {
      curls.set(curl);
      for (let i = 0; i < slots.length; i++) {
        const newest = curl[fingers[i]] + raw[slots[i]] - values[slots[i]];
        if (newest > curls[fingers[i]]) curls[fingers[i]] = newest;
      }
      return curls;
    },
  };
}
