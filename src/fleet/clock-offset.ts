import { createLeastLately } from './least-lately.js';

/**
 * How far the clock of a station is from ours, told by one-way delays. A message takes at least no time, and the quickest
 * of many takes at most what the two round trips take together: that of the station to the broker, and ours through it.
 * So the offset lies between the least difference of the times less that, and the least difference itself.
 */
export interface ClockOffset {
  /**
   * @param sentUs by the station's clock, since 1970
   * @param arrivedUs by ours, since 1970
   */
  add(sentUs: number, arrivedUs: number, nowMs: number): void;
  /**
   * @param roundTripUs of the station to the broker, least lately; 0: not known
   * @param echoUs ours through the broker, least lately; undefined: not known
   * @returns undefined before the first message
   */
  read(roundTripUs: number, echoUs: number | undefined, nowMs: number): Offset | undefined;
}

export interface Offset {
  /** To be added to the station's time. */
  offsetUs: number;
  /** Absent: it is at most so large, but may be much less. */
  errorUs?: number;
}

/** Short, so that two crystals that are 50 ppm apart (common practice) differ by no more than DRIFT_US meanwhile. */
const WINDOW_MS = 10_000;
const DRIFT_US = 50e-6 * WINDOW_MS * 1000;

export function createClockOffset(): ClockOffset {
  const least = createLeastLately(WINDOW_MS);
  return {
    add: (sentUs, arrivedUs, nowMs) => least.add(arrivedUs - sentUs, nowMs),
    read(roundTripUs, echoUs, nowMs) {
      const differenceUs = least.read(nowMs);
      if (differenceUs === undefined) return undefined;
      if (roundTripUs === 0 || echoUs === undefined) return { offsetUs: differenceUs };
      const mostUs = roundTripUs + echoUs;
      return { offsetUs: differenceUs - mostUs / 2, errorUs: mostUs / 2 + DRIFT_US };
    },
  };
}
