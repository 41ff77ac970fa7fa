/** CLOCK_MONOTONIC, µs: the same for all processes of a computer, the host glove too. */
export const monotonicUs = (): number => Number(process.hrtime.bigint()) / 1000;
