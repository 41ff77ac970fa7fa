import type { LinkCounters } from '../link/codec.js';
import type { MoveRecord } from './move-record.js';
import type { LinkReport } from './report.js';

/** Parts of the samples, and of the promised rate, beyond which the link is not well. Common practice. */
const LOST_PART = 0.005;
const RATE_PART = 0.8;
/** Silences, part of the time. */
const GAP_S = 0.1;
const GAP_PART = 0.05;
/** Delays beyond the least, ms: from here on motion feels uneven. Common practice. */
const JITTER_MS = 8;

/**
 * Judges the link over a recorded run.
 * @param before counters at its start
 * @param promisedHz samples a second as the glove said; 0: it did not
 */
export function judgeLink(
  { timesS, length }: MoveRecord,
  counters: LinkCounters,
  before: LinkCounters,
  promisedHz: number,
  jitterMs: number,
): LinkReport {
  const rateHz = length > 1 ? (length - 1) / (timesS[length - 1] - timesS[0]) : 0;
  const lost = counters.lost - before.lost;
  const badCrc = counters.badCrc - before.badCrc;
  const malformed = counters.malformed + counters.oversize - before.malformed - before.oversize;
  let gaps = 0;
  let gapS = 0;
  for (let t = 1; t < length; t++) {
    const gap = timesS[t] - timesS[t - 1];
    if (gap <= GAP_S) continue;
    gaps++;
    gapS += gap;
  }
  const remedies: string[] = [];
  if (badCrc + malformed > LOST_PART * length) {
    remedies.push('Frames arrive damaged: a shorter cable, a common ground, or a lower baud rate.');
  } else if (lost > LOST_PART * length) {
    remedies.push('Samples are missing: the firmware or the radio cannot keep up; lower the sample rate.');
  }
  if (promisedHz > 0 && rateHz + (lost * rateHz) / Math.max(1, length) < RATE_PART * promisedHz) {
    remedies.push('Slower than the glove promised: lower its sample rate, or find what holds it up.');
  }
  if (length > 0 && gapS > GAP_PART * (timesS[length - 1] - timesS[0])) {
    remedies.push('It falls silent now and then: a loose plug, a weak supply, or a radio out of reach.');
  }
  if (jitterMs > JITTER_MS) {
    remedies.push('Samples arrive in bunches: on a USB serial adapter, lower its latency timer.');
  }
  const ok = remedies.length === 0;
  return { ok, rateHz, promisedHz, lost, badCrc, malformed, gaps, jitterMs, remedy: remedies.join(' ') };
}
