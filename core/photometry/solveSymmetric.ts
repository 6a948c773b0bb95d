import { invariant } from "../errors.ts";

/**
 * The Cholesky factor L (lower, row by row) of a symmetric positive definite matrix, A = L Lᵀ.
 *
 * @param matrix  n × n, row by row; only the lower half is read. Not changed.
 * @throws NightError `invariant.violated` when it is not positive definite.
 * Source: Golub & Van Loan, Matrix Computations.
 */
export function factorSymmetric(matrix: Float64Array, n: number): Float64Array {
  const factor = new Float64Array(n * n);
  for (let row = 0; row < n; row += 1) {
    for (let column = 0; column <= row; column += 1) {
      let sum = matrix[row * n + column]!;
      for (let k = 0; k < column; k += 1) sum -= factor[row * n + k]! * factor[column * n + k]!;
      if (row === column) {
        invariant(sum > 0, "a matrix of normal equations must be positive definite");
        factor[row * n + row] = Math.sqrt(sum);
      } else {
        factor[row * n + column] = sum / factor[column * n + column]!;
      }
    }
  }
  return factor;
}

/** Solves A x = b for a factor from `factorSymmetric`. */
export function solveFactored(factor: Float64Array, n: number, right: Float64Array): Float64Array {
  const x = Float64Array.from(right);
  for (let row = 0; row < n; row += 1) {
    for (let k = 0; k < row; k += 1) x[row]! -= factor[row * n + k]! * x[k]!;
    x[row]! /= factor[row * n + row]!;
  }
  for (let row = n - 1; row >= 0; row -= 1) {
    for (let k = row + 1; k < n; k += 1) x[row]! -= factor[k * n + row]! * x[k]!;
    x[row]! /= factor[row * n + row]!;
  }
  return x;
}
