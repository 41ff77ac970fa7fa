/** The service's monotonic clock: whole and fractional µs since the process started. Never goes back. */
export const nowUs = (): number => performance.now() * 1000;

/** Time as an edge needs it; tests put a clock of their own here. */
export interface Clock {
  nowUs(): number;
  /** Runs once after at least `delayMs`; the returned function cancels. */
  after(delayMs: number, run: () => void): () => void;
}

export const systemClock: Clock = {
  nowUs,
  after(delayMs, run) {
    const timer = setTimeout(run, delayMs);
    return () => clearTimeout(timer);
  },
};
