import { LIMITS, type LimitName } from '../protocol/limits.js';

export { LIMIT_TEXT, LIMITS, type LimitName } from '../protocol/limits.js';

export const LIMIT_BIT = Object.fromEntries(LIMITS.map((name, index) => [name, 1 << index])) as Record<
  LimitName,
  number
>;

/** Names of the bits that are set. Allocates: for the edges, not for every step. */
export const limitNames = (bits: number): LimitName[] => LIMITS.filter((_, index) => bits & (1 << index));
