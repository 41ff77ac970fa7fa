/** Averages half a second of arrivals at 100 lines a second: far more than a burst, far less than a drift. */
const PHASE_GAIN = 0.05;
/** Without overshoot: the square of the phase's over 2, as for any alpha-beta filter (common practice). */
const PERIOD_GAIN = PHASE_GAIN ** 2 / 2;
/** Further off than this, lines were missed or the glove paused. */
const LOST_US = 250_000;
/** The profile's rate may be wrong by this factor. */
const RATE_TOLERANCE = 4;

/**
 * A clock for gloves that send no times: it recovers the even pace of the lines from their uneven arrivals, and gives
 * each line a time.
 */
export function createLinePace(rateHz: number) {
  const nominalUs = 1e6 / rateHz;
  const pace = { timeUs: Number.NaN, periodUs: nominalUs };
  return {
    /** @param arrivalUs 0: unknown, lines are only counted */
    next(arrivalUs: number): number {
      const expectedUs = pace.timeUs + pace.periodUs;
      const lateUs = arrivalUs > 0 ? arrivalUs - expectedUs : 0;
      if (Number.isNaN(expectedUs)) pace.timeUs = arrivalUs;
      else if (Math.abs(lateUs) > LOST_US) pace.timeUs = Math.max(arrivalUs, pace.timeUs + 1);
      else {
        pace.timeUs = Math.max(expectedUs + PHASE_GAIN * lateUs, pace.timeUs + pace.periodUs / 8);
        const periodUs = pace.periodUs + PERIOD_GAIN * lateUs;
        pace.periodUs = Math.min(nominalUs * RATE_TOLERANCE, Math.max(nominalUs / RATE_TOLERANCE, periodUs));
      }
      return Math.round(pace.timeUs) % 2 ** 32;
    },
    reset(): void {
      pace.timeUs = Number.NaN;
    },
  };
}
