/** Normal equations of three unknowns, row by row. */

export function times(m: Float64Array, v: Float64Array): Float64Array {
  return Float64Array.of(
    m[0] * v[0] + m[1] * v[1] + m[2] * v[2],
    m[3] * v[0] + m[4] * v[1] + m[5] * v[2],
    m[6] * v[0] + m[7] * v[1] + m[8] * v[2],
  );
}

/** By Cramer's rule; undefined when nearly singular. */
export function inverse3([a, b, c, d, e, f, g, h, i]: Float64Array): Float64Array | undefined {
  const det = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
  if (!(Math.abs(det) > 1e-12 * Math.abs(a * e * i))) return undefined;
  return Float64Array.of(
    (e * i - f * h) / det,
    (c * h - b * i) / det,
    (b * f - c * e) / det,
    (f * g - d * i) / det,
    (a * i - c * g) / det,
    (c * d - a * f) / det,
    (d * h - e * g) / det,
    (b * g - a * h) / det,
    (a * e - b * d) / det,
  );
}
