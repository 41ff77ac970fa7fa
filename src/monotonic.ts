/** The service's monotonic clock: whole and fractional µs since the process started. Never goes back. */
export const nowUs = (): number => performance.now() * 1000;
