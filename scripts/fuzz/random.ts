/** A seeded source of chance: the same seed gives the same run on every machine. */
export interface Random {
  /** A whole number in 0..below-1. */
  below(below: number): number;
  /** True once in so many times. */
  oneIn(times: number): boolean;
  /** 0 up to, not including, 1. */
  unit(): number;
  pick<T>(from: readonly T[]): T;
  bytes(length: number): Buffer;
}

/** xorshift32 (Marsaglia, Journal of Statistical Software 8(14), 2003). */
export function createRandom(seed: number): Random {
  let state = (Math.imul(seed, 0x9e3779b1) ^ 0x85ebca6b) | 0 || 1;
  const next = (): number => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return state >>> 0;
  };
  for (let i = 0; i < 8; i++) next();
  const below = (limit: number): number => Math.floor((next() / 2 ** 32) * limit);
  return {
    below,
    oneIn: (times) => below(times) === 0,
    unit: () => next() / 2 ** 32,
    pick: (from) => from[below(from.length)],
    bytes(length) {
      const bytes = Buffer.allocUnsafe(length);
      for (let i = 0; i < length; i++) bytes[i] = next() >>> 11;
      return bytes;
    },
  };
}
