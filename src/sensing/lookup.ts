import type { CountsFunction } from './range-model.js';

/** Finest table: converters of up to 12 bits get an entry for every count, wider ones are interpolated. */
const TABLE_BITS = 12;

/** A function of counts as a table: value = t[i] + (t[i + 1] - t[i]) x fraction, i = counts >> shift. */
export interface Lookup {
  /** One entry more than the steps, so that i + 1 always exists. */
  readonly table: Float32Array;
  readonly shift: number;
  readonly maxCounts: number;
}

export function compileLookup(bits: number, f: CountsFunction): Lookup {
  const shift = Math.max(0, bits - TABLE_BITS);
  const entries = 2 ** (bits - shift);
  const table = new Float32Array(entries + 1);
  for (let i = 0; i <= entries; i++) table[i] = f(i << shift);
  return { table, shift, maxCounts: 2 ** bits - 1 };
}

/** Value at counts; counts beyond the converter's range read as its end. */
export function look(lookup: Lookup, counts: number): number {
  const { table, shift, maxCounts } = lookup;
  const c = Math.min(counts, maxCounts);
  const i = c >> shift;
  const low = table[i];
  if (shift === 0) return low;
  return low + (table[i + 1] - low) * ((c & ((1 << shift) - 1)) / (1 << shift));
}
