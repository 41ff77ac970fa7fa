/**
 * The service's clock as this app sees it. A ping gives one bound: the service read its clock between the
 * sending and the receiving. As in RFC 5905 (NTP), the offset is taken at the middle, its error is at most half
 * the round trip, and of several measurements the one with the least error is believed; old ones count for less.
 */
export interface ServiceClock {
  /** Service time, µs, at an instant of `performance.now()`, ms. Undefined until the first measurement. */
  serviceTimeUs(localMs: number): number | undefined;
  /** Bound of the error of the newest estimate, µs. */
  readonly errorUs: number;
  /** Takes one answered ping: local time of sending and of receiving, ms, and the service's time, µs. */
  add(sentMs: number, receivedMs: number, serviceUs: number): void;
  /** Forgets everything: another service, another clock. */
  reset(): void;
}

const KEPT = 8;
/** How fast two quartz clocks drift apart at most, as RFC 5905 assumes (PHI): µs a second. */
const DRIFT_US_PER_S = 15;
/** Within the error, the estimate follows at most so fast, so that times of poses do not jump: µs a second. */
const SLEW_US_PER_S = 1000;

export function createServiceClock(): ServiceClock {
  const samples: { atMs: number; offsetUs: number; halfTripUs: number }[] = [];
  let fromUs = 0;
  let fromMs = 0;
  let goalUs = 0;
  let errorUs = Number.POSITIVE_INFINITY;

  const offsetAt = (localMs: number): number => {
    const reach = (Math.max(0, localMs - fromMs) / 1000) * SLEW_US_PER_S;
    return fromUs + Math.max(-reach, Math.min(reach, goalUs - fromUs));
  };

  return {
    get errorUs() {
      return errorUs;
    },
    serviceTimeUs: (localMs) => (samples.length === 0 ? undefined : localMs * 1000 + offsetAt(localMs)),
    add(sentMs, receivedMs, serviceUs) {
      if (!(receivedMs >= sentMs)) return;
      samples.push({
        atMs: receivedMs,
        offsetUs: serviceUs - ((sentMs + receivedMs) / 2) * 1000,
        halfTripUs: ((receivedMs - sentMs) / 2) * 1000,
      });
      if (samples.length > KEPT) samples.shift();
      errorUs = Number.POSITIVE_INFINITY;
      let bestUs = 0;
      for (const { atMs, offsetUs, halfTripUs } of samples) {
        const error = halfTripUs + ((receivedMs - atMs) / 1000) * DRIFT_US_PER_S;
        if (error >= errorUs) continue;
        errorUs = error;
        bestUs = offsetUs;
      }
      const current = offsetAt(receivedMs);
      const newest = samples[samples.length - 1];
      // One of the two is wrong, so a clock was set or stopped in between: only the newest counts.
      if (Math.abs(newest.offsetUs - bestUs) > newest.halfTripUs + errorUs) {
        samples.splice(0, samples.length - 1);
        bestUs = newest.offsetUs;
        errorUs = newest.halfTripUs;
      }
      fromUs = Math.abs(bestUs - current) > errorUs ? bestUs : current;
      fromMs = receivedMs;
      goalUs = bestUs;
    },
    reset() {
      samples.length = 0;
      errorUs = Number.POSITIVE_INFINITY;
    },
  };
}
