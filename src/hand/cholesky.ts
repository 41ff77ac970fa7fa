/**
 * Cholesky factor of a symmetric positive definite matrix, in place: rows of the lower triangle.
 * @param a n x n, row by row; only the lower triangle is read
 * @returns false if the matrix is not positive definite
 */
export function factorise(a: Float64Array, n: number): boolean {
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = a[i * n + j];
      for (let k = 0; k < j; k++) sum -= a[i * n + k] * a[j * n + k];
      if (i === j) {
        if (!(sum > 0)) return false;
        a[i * n + i] = Math.sqrt(sum);
      } else a[i * n + j] = sum / a[j * n + j];
    }
  }
  return true;
}

/** Solves L y = x in place, for a factor from factorise; `stride` and `offset` pick a column of a wider array. */
export function solveLower(l: Float64Array, n: number, x: Float64Array, offset = 0, stride = 1): void {
  for (let i = 0; i < n; i++) {
    let sum = x[offset + i * stride];
    for (let k = 0; k < i; k++) sum -= l[i * n + k] * x[offset + k * stride];
    x[offset + i * stride] = sum / l[i * n + i];
  }
}

/** Solves Lᵀ y = x in place. */
export function solveUpper(l: Float64Array, n: number, x: Float64Array): void {
  for (let i = n - 1; i >= 0; i--) {
    let sum = x[i];
    for (let k = i + 1; k < n; k++) sum -= l[k * n + i] * x[k];
    x[i] = sum / l[i * n + i];
  }
}
