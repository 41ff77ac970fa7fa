const DEAD_LOG = 30;

/**
 * Equal readings in a row that noise of a given variance (counts squared) makes incredible.
 *
 * With Gaussian noise of s counts a resting reading differs from its commonest count with probability
 * q = erfc(0.5 / (s sqrt 2)) at least (level in the middle of a count), so a run of n equal readings has probability
 * (1 - q)^n. It is incredible below e^-30, with s taken at 0.6 of the estimate. With s = 1 count at 500 Hz that is
 * 150 ms; with s = 0.5 it is 0.6 s; a channel quieter than 0.2 counts cannot be told from a still hand this way.
 */
export function runOfSilence(variance: number): number {
  const s = 0.6 * Math.sqrt(variance);
  if (!(s > 0.12)) return Number.POSITIVE_INFINITY;
  return DEAD_LOG / -Math.log(1 - erfc(0.5 / (s * Math.SQRT2)));
}

/** Complementary error function for x >= 0, to 1.2e-7 (Numerical Recipes, erfcc; from memory). */
export function erfc(x: number): number {
  const t = 1 / (1 + 0.5 * x);
  const p =
    -1.26551223 +
    t *
      (1.00002368 +
        t *
          (0.37409196 +
            t *
              (0.09678418 +
                t *
                  (-0.18628806 +
                    t *
                      (0.27886807 +
                        t * (-1.13520398 + t * (1.48851587 + t * (-0.82215223 + t * 0.17087277))))))));
  return t * Math.exp(-x * x + p);
}
