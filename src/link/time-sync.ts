import { createBatching } from './batching.js';

/**
 * Maps a glove's clock (µs, 32 bits, wraps) to the service's monotonic clock.
 *
 *   arrival = device + offset + drift · device + least delay + delay beyond the least, which is >= 0
 *
 * Delays (USB batching, radio retries, a busy host) only ever make a sample late, so the line runs along the
 * lower edge of the points (device, arrival - device): of all lines below them it is the one with the least sum
 * of distances, an edge of their lower convex hull (Moon, Skelly & Towsley, INFOCOM 1999; from memory).
 * A short stretch of the edge says little about drift, so drift has a prior around the last one known.
 *
 * The least delay of the way itself stays in the mapped time: half the least round trip (RFC 5905, section 8)
 * would be its measure if both ways were alike, which they are not on a radio. `roundTripUs` tells its size.
 */

export interface TimeSyncStatus {
  /** Host minus device time now, with the least delay, µs. */
  offsetUs: number;
  /** Rate of the host's clock against the device's, parts per million; positive: the device's runs slow. */
  driftPpm: number;
  /** Mean delay beyond the least, µs. */
  jitterUs: number;
  /** Least round trip lately, µs; undefined before the first pong. */
  roundTripUs: number | undefined;
  /** How often the device's clock jumped (reset, brown-out, sleep). */
  resets: number;
  /** Time between reads when several samples come in each, ms; 0 when samples come one by one. */
  batchMs: number;
}

export interface TimeSync {
  readonly status: TimeSyncStatus;
  /** Host time of a sample, µs: strictly increasing, and not later than its arrival by more than 1 µs a sample. */
  map(deviceTimeUs: number, arrivalUs: number): number;
  /** A pong arrived: its ping was sent at `sentUs`, stamped by the device, and back at `arrivalUs`. */
  pong(sentUs: number, deviceTimeUs: number, arrivalUs: number): void;
  /** The link is new: the device may have restarted. Mapped times still increase. */
  restart(): void;
  /** As if nothing had ever come. */
  forget(): void;
}

const WRAP = 2 ** 32;
/** The edge is found among the least delays of windows: 32 s in all, in which a crystal's drift is constant. */
const WINDOW_US = 250_000;
const WINDOWS = 128;
/** At first the line improves with every window; later it can wait for a few. */
const FIT_EVERY_UNTIL = 32;
const FIT_EACH = 4;
/** A sample that arrives this long before it was sent means that the device's clock jumped, whatever the line's error. */
const EARLY_US = 1_000_000;
/** So do samples that arrive this late for this long: a delayed read delivers everything at once. */
const LATE_US = 1_000_000;
const LATE_FOR_US = 500_000;
/** After a reconnection within this time, the line continues if it fits this well. */
const RESUME_WITHIN_US = 10_000_000;
const RESUME_FIT_US = 50_000;
/** Crystals are within ±100 ppm, ceramic resonators within ±5000 ppm (common practice). */
const USUAL_DRIFT = 5e-5;
const MAX_DRIFT = 1e-2;
/** A drift seen over this many windows is better than none after a restart. */
const LEARNT_WINDOWS = 40;
/** Mapped time runs at least at this part of the device's pace while the line drops. */
const LEAST_PACE = 0.5;
const KEPT_TRIPS = 16;

export function createTimeSync(): TimeSync {
  const status: TimeSyncStatus = {
    offsetUs: 0,
    driftPpm: 0,
    jitterUs: 0,
    roundTripUs: undefined,
    resets: 0,
    batchMs: 0,
  };
  // Doubles in properties are updated in place; captured variables would allocate at each change.
  const now = {
    raw: 0,
    device: 0.5,
    arrivalUs: 0.5,
    mapped: Number.NEGATIVE_INFINITY,
    lateSinceUs: Number.NaN,
  };
  /** Offset at `origin` and its slope. */
  const line = { origin: 0.5, base: 0.5, slope: 0.5 };
  const window = { start: 0.5, device: 0.5, least: Number.POSITIVE_INFINITY };
  const windowDevice = new Float64Array(WINDOWS);
  const windowOffset = new Float64Array(WINDOWS);
  const trips = new Float64Array(KEPT_TRIPS);
  const hull = createHull(WINDOWS);
  const batching = createBatching(status);
  let windows = 0;
  let tripCount = 0;
  let expectedDrift = 0;
  let state: 'new' | 'running' | 'resuming' = 'new';

  function begin(raw: number, arrivalUs: number): void {
    state = 'running';
    now.raw = raw;
    now.device = raw;
    now.lateSinceUs = Number.NaN;
    windows = 0;
    window.start = raw;
    window.device = raw;
    window.least = arrivalUs - raw;
    line.origin = raw;
    line.base = window.least;
    line.slope = expectedDrift;
    batching.restart();
  }

  function jumped(raw: number, arrivalUs: number): void {
    status.resets++;
    begin(raw, arrivalUs);
  }

  const offsetAt = (device: number): number => line.base + line.slope * (device - line.origin);

  /** Device time of a raw one that comes after the last; undefined when it went back, which only a restart does. */
  function unwrap(raw: number): number {
    let step = raw - now.raw;
    if (step < 0) step += WRAP;
    return now.device + step;
  }

  /** Takes up the line of before a reconnection, if the device's clock ran on meanwhile. */
  function resume(raw: number, arrivalUs: number): void {
    const gapUs = arrivalUs - now.arrivalUs;
    const device = unwrap(raw);
    const fit = arrivalUs - offsetAt(device) - device;
    if (gapUs < RESUME_WITHIN_US && Math.abs(fit) < RESUME_FIT_US) state = 'running';
    else begin(raw, arrivalUs);
  }

  function closeWindow(): void {
    windowDevice[windows % WINDOWS] = window.device;
    windowOffset[windows % WINDOWS] = window.least;
    windows++;
    window.start = now.device;
    window.least = Number.POSITIVE_INFINITY;
    if (windows < FIT_EVERY_UNTIL || windows % FIT_EACH === 0) fitLine();
  }

  function fitLine(): void {
    const count = Math.min(windows, WINDOWS);
    const reference = windowOffset[(windows - 1) % WINDOWS];
    let meanX = 0;
    let meanY = 0;
    hull.clear();
    for (let i = windows - count; i < windows; i++) {
      const x = windowDevice[i % WINDOWS] - now.device;
      const y = windowOffset[i % WINDOWS] - reference - expectedDrift * x;
      meanX += x;
      meanY += y;
      hull.add(x, y);
    }
    meanX /= count;
    meanY /= count;
    // Least sum of distances over their mean, plus |slope| over its usual size: the likeliest line if both are
    // exponential. The prior amounts to seeking the edge not under the mean but this far to its sides.
    const meanDistance = meanY - hull.heightAt(meanX);
    const shift = meanDistance / (count * USUAL_DRIFT);
    const rising = hull.slopeAt(meanX - shift);
    const falling = hull.slopeAt(meanX + shift);
    const limit = count > 1 ? MAX_DRIFT : 0;
    let slope = 0;
    if (rising > 0) slope = Math.min(limit, rising);
    else if (falling < 0) slope = Math.max(-limit, falling);
    line.origin = now.device;
    line.base = reference + hull.lowestAgainst(slope);
    line.slope = expectedDrift + slope;
    status.driftPpm = line.slope * 1e6;
    if (windows >= LEARNT_WINDOWS && windows % LEARNT_WINDOWS === 0) expectedDrift = line.slope;
  }

  return {
    status,
    map(deviceTimeUs, arrivalUs) {
      if (state === 'new') begin(deviceTimeUs, arrivalUs);
      else if (state === 'resuming') resume(deviceTimeUs, arrivalUs);

      let device = unwrap(deviceTimeUs);
      const delay = arrivalUs - device - offsetAt(device);
      if (device - now.device >= WRAP / 2 || delay < -EARLY_US || isLateForLong(delay, arrivalUs)) {
        jumped(deviceTimeUs, arrivalUs);
        device = now.device;
      }
      const stepUs = device - now.device;
      now.raw = deviceTimeUs;
      now.device = device;
      now.arrivalUs = arrivalUs;
      batching.take(device, arrivalUs);

      const offset = arrivalUs - device;
      if (offset < window.least) {
        window.least = offset;
        window.device = device;
      }
      if (device - window.start >= WINDOW_US) closeWindow();
      let fitted = offsetAt(device);
      if (offset < fitted) {
        line.base -= fitted - offset;
        fitted = offset;
      }
      status.offsetUs = fitted;
      status.jitterUs += (offset - fitted - status.jitterUs) / 64;

      // Where the line came down, time goes on slowly rather than standing still.
      let mapped = Math.min(arrivalUs, Math.max(device + fitted, now.mapped + LEAST_PACE * stepUs));
      if (!(mapped > now.mapped)) mapped = now.mapped + 1;
      now.mapped = mapped;
      return mapped;
    },
    pong(sentUs, deviceTimeUs, arrivalUs) {
      const trip = arrivalUs - sentUs;
      if (!(trip >= 0)) return;
      trips[tripCount++ % KEPT_TRIPS] = trip;
      let least = trip;
      for (let i = Math.min(tripCount, KEPT_TRIPS); i-- > 0; ) least = Math.min(least, trips[i]);
      status.roundTripUs = least;
      if (state !== 'running') return;
      // It was stamped after the ping was sent: a line that denies that is too low, or from before a jump.
      const unwrapped = unwrap(deviceTimeUs);
      const device = unwrapped - now.device >= WRAP / 2 ? unwrapped - WRAP : unwrapped;
      const lowUs = sentUs - device - offsetAt(device);
      if (lowUs > RESUME_FIT_US) {
        status.resets++;
        state = 'new';
      } else if (lowUs > 0) line.base += lowUs;
    },
    restart() {
      if (state === 'running') state = 'resuming';
      tripCount = 0;
      status.roundTripUs = undefined;
    },
    forget() {
      state = 'new';
      now.mapped = Number.NEGATIVE_INFINITY;
      expectedDrift = 0;
      tripCount = 0;
      Object.assign(status, { offsetUs: 0, driftPpm: 0, jitterUs: 0, roundTripUs: undefined });
    },
  };

  function isLateForLong(delay: number, arrivalUs: number): boolean {
    if (delay <= LATE_US) now.lateSinceUs = Number.NaN;
    else if (Number.isNaN(now.lateSinceUs)) now.lateSinceUs = arrivalUs;
    else return arrivalUs - now.lateSinceUs > LATE_FOR_US;
    return false;
  }
}

/** Lower convex hull of points that are added from left to right. */
function createHull(capacity: number) {
  const xs = new Float64Array(capacity);
  const ys = new Float64Array(capacity);
  let count = 0;
  /** Slope of the edge that ends at corner i. */
  const edge = (i: number): number => (ys[i] - ys[i - 1]) / (xs[i] - xs[i - 1]);
  const cornerAfter = (x: number): number => {
    let i = 0;
    while (i < count && xs[i] < x) i++;
    return i;
  };
  return {
    clear(): void {
      count = 0;
    },
    add(x: number, y: number): void {
      while (count > 1 && (y - ys[count - 1]) / (x - xs[count - 1]) <= edge(count - 1)) count--;
      xs[count] = x;
      ys[count++] = y;
    },
    /** For x between the first and the last point. */
    heightAt(x: number): number {
      const i = cornerAfter(x);
      if (i === 0) return ys[0];
      return i === count ? ys[count - 1] : ys[i] + edge(i) * (x - xs[i]);
    },
    /** Beyond its ends the hull is vertical. */
    slopeAt(x: number): number {
      const i = cornerAfter(x);
      if (i === 0) return Number.NEGATIVE_INFINITY;
      return i === count ? Number.POSITIVE_INFINITY : edge(i);
    },
    /** Height at x = 0 of the line of that slope that touches the hull from below. */
    lowestAgainst(slope: number): number {
      let lowest = Number.POSITIVE_INFINITY;
      for (let i = 0; i < count; i++) lowest = Math.min(lowest, ys[i] - slope * xs[i]);
      return lowest;
    },
  };
}
