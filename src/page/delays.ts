import type { HandSide } from '../hand/joints.js';
import type { Live } from './live.js';
import { seen } from './seen.js';

/** How long poses took from their sample to this page. */
export interface DelaySummary {
  medianMs: number;
  /** 95 of 100 took no longer. */
  p95Ms: number;
  mostMs: number;
  /** Poses that this is of. */
  count: number;
  /** How far the clocks of service and page may differ, ms: the figures are off by so much at most, all alike. */
  errorMs: number;
}

/** The newest delays of a hand, ms. */
export interface DelayRing {
  /** @param nowMs when it was found; increasing */
  add(ms: number, nowMs: number): void;
  /** Those that were found within the time that is kept, in ascending order. */
  sorted(nowMs: number): Float64Array;
  clear(): void;
}

/** @param most how many are kept at most; @param keptMs for how long */
export function createDelayRing(most: number, keptMs: number): DelayRing {
  const delays = new Float64Array(most);
  const found = new Float64Array(most);
  let [next, count] = [0, 0];
  return {
    add(ms, nowMs) {
      delays[next] = ms;
      found[next] = nowMs;
      next = (next + 1) % most;
      count = Math.min(most, count + 1);
    },
    sorted(nowMs) {
      const oldest = (): number => (next - count + most) % most;
      while (count > 0 && found[oldest()] < nowMs - keptMs) count--;
      return Float64Array.from({ length: count }, (_, i) => delays[(oldest() + i) % most]).sort();
    },
    clear() {
      next = count = 0;
    },
  };
}

/** @param part 0..1 @param sorted ascending, at least one: the least of them that so many do not exceed */
export const quantileOf = (sorted: ArrayLike<number>, part: number): number =>
  sorted[Math.max(0, Math.ceil(part * sorted.length) - 1)];

/** Delays counted by how long they are. */
export interface Histogram {
  /** Each bar is of so many ms, the first one from 0. */
  widthMs: number;
  counts: number[];
  /** Longer than the last bar. */
  beyond: number;
}

/** Widths that an axis is read well with. */
const WIDTHS_MS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500];

/** @param sorted ascending */
export function histogramOf(sorted: ArrayLike<number>, bars: number): Histogram {
  // A single one that took long must not make all others one bar.
  const usual = sorted.length === 0 ? 0 : quantileOf(sorted, 0.95);
  const widthMs = WIDTHS_MS.find((width) => width * bars >= usual * 1.5) ?? WIDTHS_MS[WIDTHS_MS.length - 1];
  const counts: number[] = Array(bars).fill(0);
  let beyond = 0;
  for (let i = 0; i < sorted.length; i++) {
    // Clocks may differ by a little: nothing comes before its sample.
    const bar = Math.max(0, Math.floor(sorted[i] / widthMs));
    if (bar < bars) counts[bar]++;
    else beyond++;
  }
  return { widthMs, counts, beyond };
}

/** So much is looked at, and as many as the page is sent in that time of a hand that moves. */
const KEPT_MS = 10_000;
const MOST = 1250;
const AGAIN_MS = 500;

/**
 * From the moment that a glove measured to the moment that this page has the pose: link, service, stream and browser
 * together, as far as the clocks are known.
 */
export interface Delays {
  /** In ascending order, ms. */
  of(side: HandSide): Float64Array;
  /** Undefined while nothing is known, and in a replay, whose samples are of another time. */
  summary(side: HandSide): DelaySummary | undefined;
}

export function createDelays(live: Live): Delays {
  const rings = new Map<HandSide, DelayRing>();
  const kept = new Map<HandSide, { atMs: number; summary: DelaySummary | undefined }>();
  const none = new Float64Array(0);
  live.client.on('joints', ({ hand, timeUs, valid, recorded }) => {
    const nowUs = live.client.serviceTimeUs();
    if (!valid || recorded || nowUs === undefined) {
      if (recorded) rings.get(hand)?.clear();
      return;
    }
    let ring = rings.get(hand);
    if (!ring) {
      ring = createDelayRing(MOST, KEPT_MS);
      rings.set(hand, ring);
    }
    ring.add((nowUs - timeUs) / 1000, performance.now());
  });
  // Another connection has another clock, and what is gone has no delay.
  const forget = () => {
    for (const ring of rings.values()) ring.clear();
    kept.clear();
  };
  live.client.on('state', forget);
  // No poses come while the page is not seen: those from before are not of the last ten seconds.
  seen.subscribe(forget);

  function summarize(side: HandSide): DelaySummary | undefined {
    const sorted = rings.get(side)?.sorted(performance.now()) ?? none;
    if (sorted.length === 0) return undefined;
    return {
      medianMs: quantileOf(sorted, 0.5),
      p95Ms: quantileOf(sorted, 0.95),
      mostMs: sorted[sorted.length - 1],
      count: sorted.length,
      errorMs: live.client.clockErrorUs / 1000,
    };
  }
  return {
    of: (side) => rings.get(side)?.sorted(performance.now()) ?? none,
    summary(side) {
      const known = kept.get(side);
      const nowMs = performance.now();
      if (known && nowMs - known.atMs < AGAIN_MS) return known.summary;
      const summary = summarize(side);
      kept.set(side, { atMs: nowMs, summary });
      return summary;
    },
  };
}
