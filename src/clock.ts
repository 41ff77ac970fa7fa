/** The service's monotonic clock: whole and fractional µs since the process started. Never goes back. */
export const nowUs = (): number => performance.now() * 1000;

/** Time as an edge needs it; tests put a clock of their own here. */
export interface Clock {
  nowUs(): number;
  /** Runs once after at least `delayMs`; the returned function cancels. */
  after(delayMs: number, run: () => void): () => void;
}

/**
 * Whole ms until the clock next shows a multiple of `periodMs`: 1 to `periodMs`. What is done every so often and begins
 * by this falls together, whoever does it: the process is woken once for all of it.
 */
export const untilNextMs = (nowUs: number, periodMs: number): number =>
  periodMs - (Math.round(nowUs / 1000) % periodMs);

export const systemClock: Clock = {
  nowUs,
  after(delayMs, run) {
    const timer = setTimeout(run, delayMs);
    return () => clearTimeout(timer);
  },
};
