/**
 * A number that is shown of something noisy: it stays as long as what is measured lies near it, so that noise writes
 * nothing, and is never further off than that.
 *
 * @param nearby how far off it may be
 * @returns takes what is measured; gives what to show
 */
export function createSteady(nearby: number): (measured: number) => number {
  let shown = Number.NaN;
  return (measured) => {
    if (!(Math.abs(measured - shown) <= nearby)) shown = measured;
    return shown;
  };
}

/** The same in whole percent: off by three quarters of one at most, where rounding alone is off by a half. */
export function createSteadyPercent(): (part: number) => number {
  let shown = Number.NaN;
  return (part) => {
    if (!(Math.abs(part * 100 - shown) <= 0.75)) shown = Math.round(part * 100);
    return shown;
  };
}
