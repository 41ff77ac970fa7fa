import { FINGERS } from '../hand/joints.js';
import type { Sensing } from '../sensing/sensing.js';

/**
 * Curl per finger according to the newest sample. The filter that steadies the picture lags by up to 20 ms, and a
 * stop that is kept clear of the filtered finger would be behind the real one by as much as it closes in that time.
 */
export interface NewestCurls {
  /** The filtered curl, or that of the newest sample if it is further closed; valid until the next call. */
  update(): Float64Array;
}

type Sensed = Pick<Sensing, 'channels' | 'raw' | 'values' | 'curl'>;

/** The degree of freedom that does not bend the finger. */
const ABDUCTION = 1;

export function createNewestCurls({ channels, raw, values, curl }: Sensed): NewestCurls {
  // A finger with a sensor per joint has closed by no more than the joint that moved most.
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
