import type { Mutable } from '../mutable.js';
import { EVENT_REASONS } from '../resistance/events.js';
import type { Resistance } from '../resistance/resistance.js';

/** Counts of one glove since it was made, over every chain that it has had. */
export interface GloveCounters {
  /** Samples a second, measured; 0 while the glove is silent. */
  readonly rateHz: number;
  readonly poses: number;
  /** The first measurement starts here. */
  start(nowUs: number): void;
  /** One sample has become a pose. */
  pose(): void;
  /** Works out the rate since the last time. */
  measure(nowUs: number): void;
  silent(): void;
  /** Keeps the governor's counts of a chain that is about to be replaced. */
  keep(resistance: Resistance): void;
  /** How often each limit began to act, including the chain in use. */
  interventions(resistance: Resistance): Record<string, number>;
}

export function createGloveCounters(): GloveCounters {
  const earlier = new Float64Array(EVENT_REASONS.length);
  let posesBefore = 0;
  let sinceUs = 0;
  const counters: Mutable<GloveCounters> = {
    rateHz: 0,
    poses: 0,
    start(nowUs) {
      sinceUs = nowUs;
    },
    pose() {
      counters.poses++;
    },
    measure(nowUs) {
      const { poses } = counters;
      counters.rateHz = nowUs > sinceUs ? ((poses - posesBefore) * 1e6) / (nowUs - sinceUs) : 0;
      posesBefore = poses;
      sinceUs = nowUs;
    },
    silent() {
      counters.rateHz = 0;
    },
    keep({ eventTotals }) {
      eventTotals.forEach((count, reason) => {
        earlier[reason] += count;
      });
    },
    interventions({ eventTotals }) {
      return Object.fromEntries(EVENT_REASONS.map((name, i) => [name, earlier[i] + eventTotals[i]]));
    },
  };
  return counters;
}
