/**
 * Monotone piecewise cubic through the points (x, y): PCHIP with Fritsch & Carlson's limits (SIAM J. Numerical
 * Analysis 17(2), 1980), so it never overshoots its points. Outside them it holds the end values.
 * @param x strictly increasing, at least two
 * @param y as many
 */
export function monotoneCurve(x: readonly number[], y: readonly number[]): (at: number) => number {
  const n = x.length;
  if (n < 2 || y.length !== n)
    throw new RangeError(`a curve needs two or more points, got ${n} and ${y.length}`);
  const slope = x.slice(1).map((right, i) => {
    if (!(right > x[i])) throw new RangeError(`curve points must increase, got ${x[i]} then ${right}`);
    return (y[i + 1] - y[i]) / (right - x[i]);
  });
  const tangent = x.map((_, i) => {
    if (i === 0) return slope[0];
    if (i === n - 1) return slope[n - 2];
    if (slope[i - 1] * slope[i] <= 0) return 0;
    // Weighted harmonic mean of the neighbouring slopes.
    const left = x[i] - x[i - 1];
    const right = x[i + 1] - x[i];
    const a = 2 * right + left;
    const b = right + 2 * left;
    return (a + b) / (a / slope[i - 1] + b / slope[i]);
  });
  return (at) => {
    if (!(at > x[0])) return y[0];
    if (at >= x[n - 1]) return y[n - 1];
    let i = 0;
    while (at >= x[i + 1]) i++;
    const h = x[i + 1] - x[i];
    const t = (at - x[i]) / h;
    const t2 = t * t;
    const t3 = t2 * t;
    return (
      y[i] * (2 * t3 - 3 * t2 + 1) +
      h * tangent[i] * (t3 - 2 * t2 + t) +
      y[i + 1] * (3 * t2 - 2 * t3) +
      h * tangent[i + 1] * (t3 - t2)
    );
  };
}
