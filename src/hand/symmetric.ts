/**
 * Eigenvalues and eigenvectors of a small symmetric matrix by Jacobi's rotations (Golub & Van Loan, Matrix
 * Computations, on the symmetric eigenvalue problem; from memory).
 * @param matrix n x n, row by row; it is not changed
 * @returns eigenvalues from the smallest, and their unit vectors in the same order
 */
export function eigenOf(matrix: ArrayLike<number>, n: number): { values: number[]; vectors: number[][] } {
  const a = Float64Array.from(matrix);
  const v = new Float64Array(n * n);
  for (let i = 0; i < n; i++) v[i * n + i] = 1;
  for (let sweep = 0; sweep < 60; sweep++) {
    let off = 0;
    let on = 0;
    for (let i = 0; i < n; i++) {
      on += a[i * n + i] ** 2;
      for (let j = 0; j < i; j++) off += a[i * n + j] ** 2;
    }
    if (off <= 1e-30 * on) break;
    for (let p = 0; p < n; p++) {
      for (let q = p + 1; q < n; q++) rotateAway(a, v, n, p, q);
    }
  }
  const order = Array.from({ length: n }, (_, i) => i).sort((i, j) => a[i * n + i] - a[j * n + j]);
  return {
    values: order.map((i) => a[i * n + i]),
    vectors: order.map((i) => Array.from({ length: n }, (_, k) => v[k * n + i])),
  };
}

/** One rotation, in the plane of two axes, after which what couples them is 0. */
function rotateAway(a: Float64Array, v: Float64Array, n: number, p: number, q: number): void {
  const coupling = a[p * n + q];
  if (coupling === 0) return;
  const ratio = (a[q * n + q] - a[p * n + p]) / (2 * coupling);
  const t = Math.sign(ratio || 1) / (Math.abs(ratio) + Math.sqrt(ratio * ratio + 1));
  const c = 1 / Math.sqrt(t * t + 1);
  const s = t * c;
  for (let k = 0; k < n; k++) {
    const x = a[k * n + p];
    const y = a[k * n + q];
    a[k * n + p] = c * x - s * y;
    a[k * n + q] = s * x + c * y;
  }
  for (let k = 0; k < n; k++) {
    const x = a[p * n + k];
    const y = a[q * n + k];
    a[p * n + k] = c * x - s * y;
    a[q * n + k] = s * x + c * y;
  }
  for (let k = 0; k < n; k++) {
    const x = v[k * n + p];
    const y = v[k * n + q];
    v[k * n + p] = c * x - s * y;
    v[k * n + q] = s * x + c * y;
  }
}
