/**
 * Maps a glove's clock (µs, 32 bits, wraps) to the service's monotonic clock.
 *
 *   arrival = device + offset + drift·device + delay,   delay >= 0
 *
 * Delays (USB batching, radio retries, a busy host) only ever make a sample late, so the line runs along the
 * lower edge of the points (device, arrival - device). The edge is found from the least delay in each of the
 * last windows; a line through them gives offset and drift. Half the least round trip of ping and pong
 * (RFC 5905, section 8: delay = (T4-T1)-(T3-T2)) is what the least delay itself amounts to.
 */

export interface ClockStatus {
  /** Host minus device time now, µs. */
  offsetUs: number;
  /** Rate of the device's clock against ours, parts per million; positive: the device's runs slow. */
  driftPpm: number;
  /** Mean delay beyond the least, µs. */
  jitterUs: number;
  /** Least round trip lately, µs; undefined before the first pong. */
  roundTripUs: number | undefined;
  /** Times the device's clock jumped (reset, brown-out). */
  resets: number;
}

export interface Clock {
  readonly status: ClockStatus;
  /** Host time of a sample, µs: strictly increasing, never later than its arrival. */
  map(deviceTimeUs: number, arrivalUs: number): number;
  /** A pong came: the ping left at `sentUs`, the device stamped it, it arrived at `arrivalUs`. */
  pong(sentUs: number, deviceTimeUs: number, arrivalUs: number): void;
  /** The link is new: the device may have restarted. Mapped times still increase. */
  restart(): void;
}

const WRAP = 2 ** 32;
const WINDOW_US = 250_000;
const WINDOWS = 32;
/** A step of the device's clock against ours by more than this is a restart, not drift or delay. */
const RESET_US = 1_000_000;
/** Crystals are within ±100 ppm, resonators within ±5000 ppm (common practice). */
const MAX_DRIFT = 5e-3;

export function createClock(): Clock {
  const status: ClockStatus = { offsetUs: 0, driftPpm: 0, jitterUs: 0, roundTripUs: undefined, resets: 0 };
  const windowDevice = new Float64Array(WINDOWS);
  const windowOffset = new Float64Array(WINDOWS);
  let windows = 0;
  let started = false;
  let lastRaw = 0;
  let device = 0;
  let windowStart = 0;
  let leastDevice = 0;
  let least = Number.POSITIVE_INFINITY;
  let origin = 0;
  let base = 0;
  let slope = 0;
  let lastMapped = Number.NEGATIVE_INFINITY;

  function begin(raw: number, arrivalUs: number): void {
    started = true;
    lastRaw = raw;
    device = raw;
    windows = 0;
    windowStart = device;
    leastDevice = device;
    least = arrivalUs - device;
    origin = device;
    base = least;
    slope = 0;
  }

  /** Unwraps a raw device time near the last one. */
  function unwrap(raw: number): number {
    let step = raw - lastRaw;
    if (step < -WRAP / 2) step += WRAP;
    else if (step > WRAP / 2) step -= WRAP;
    return device + step;
  }

  function closeWindow(): void {
    const slot = windows % WINDOWS;
    windowDevice[slot] = leastDevice;
    windowOffset[slot] = least;
    windows++;
    fitLine();
  }

  /** Least-squares slope through the window minima, then down onto the lowest of them. */
  function fitLine(): void {
    const n = Math.min(windows, WINDOWS);
    let meanX = 0;
    let meanY = 0;
    for (let i = 0; i < n; i++) {
      meanX += windowDevice[i];
      meanY += windowOffset[i];
    }
    meanX /= n;
    meanY /= n;
    let xx = 0;
    let xy = 0;
    for (let i = 0; i < n; i++) {
      const x = windowDevice[i] - meanX;
      xx += x * x;
      xy += x * (windowOffset[i] - meanY);
    }
    slope = n >= 4 && xx > 0 ? Math.max(-MAX_DRIFT, Math.min(MAX_DRIFT, xy / xx)) : 0;
    origin = device;
    base = Number.POSITIVE_INFINITY;
    for (let i = 0; i < n; i++) {
      base = Math.min(base, windowOffset[i] - slope * (windowDevice[i] - origin));
    }
    status.driftPpm = slope * 1e6;
  }

  return {
    status,
    map(deviceTimeUs, arrivalUs) {
      if (!started) begin(deviceTimeUs, arrivalUs);
      let unwrapped = unwrap(deviceTimeUs);
      const expected = arrivalUs - (base + slope * (unwrapped - origin));
      if (Math.abs(expected - unwrapped) > RESET_US) {
        status.resets++;
        begin(deviceTimeUs, arrivalUs);
        unwrapped = device;
      }
      device = unwrapped;
      lastRaw = deviceTimeUs;
      const offset = arrivalUs - device;
      if (device - windowStart >= WINDOW_US) {
        closeWindow();
        windowStart = device;
        least = Number.POSITIVE_INFINITY;
      }
      if (offset < least) {
        least = offset;
        leastDevice = device;
      }
      const estimate = base + slope * (device - origin);
      if (offset < estimate) base -= estimate - offset;
      const line = Math.min(estimate, offset);
      status.offsetUs = line;
      status.jitterUs += (offset - line - status.jitterUs) / 64;
      let mapped = device + line;
      if (mapped <= lastMapped) mapped = lastMapped + 1;
      lastMapped = mapped;
      return mapped;
    },
    pong(sentUs, _deviceTimeUs, arrivalUs) {
      const trip = arrivalUs - sentUs;
      if (!(trip >= 0)) return;
      const known = status.roundTripUs;
      status.roundTripUs = known === undefined ? trip : Math.min(trip, known + (trip - known) / 16);
    },
    restart() {
      started = false;
      least = Number.POSITIVE_INFINITY;
    },
  };
}
