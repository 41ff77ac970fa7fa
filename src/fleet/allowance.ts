/** So much at once, and so much a second after that. */
export interface Allowance {
  /** @returns whether it is permitted; then it is taken */
  take(amount: number, nowMs: number): boolean;
}

export function createAllowance(burst: number, perS: number): Allowance {
  let left = burst;
  let atMs = Number.NaN;
  return {
    take(amount, nowMs) {
      if (nowMs > atMs) left = Math.min(burst, left + ((nowMs - atMs) / 1000) * perS);
      atMs = nowMs;
      if (amount > left) return false;
      left -= amount;
      return true;
    },
  };
}
