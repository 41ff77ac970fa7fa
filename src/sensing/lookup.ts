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

/** Entries from one that is worked out to the next, at most, and what a straight line between may be off. */
const LONGEST_SPAN = 32;
const STRAIGHT = 1e-6;

/**
 * A calibration is dear to work out and straight nearly everywhere: where a line between two entries meets the function
 * in the middle and at both quarters, the entries between are taken from the line.
 */
export function compileLookup(bits: number, f: CountsFunction): Lookup {
  const shift = Math.max(0, bits - TABLE_BITS);
  const entries = 2 ** (bits - shift);
  const table = new Float32Array(entries + 1);
  const valueAt = (entry: number): number => f(entry << shift);

  function fill(from: number, to: number, low: number, high: number): void {
    const span = to - from;
    if (span < 2) return;
    const middle = from + span / 2;
    const half = valueAt(middle);
    table[middle] = half;
    if (span === 2) return;
    const step = (high - low) / span;
    const isStraight = (entry: number) =>
      Math.abs(valueAt(entry) - (low + step * (entry - from))) <= STRAIGHT;
    if (
      Math.abs(half - (low + high) / 2) <= STRAIGHT &&
      isStraight(from + span / 4) &&
      isStraight(to - span / 4)
    ) {
      for (let i = from + 1; i < to; i++) table[i] = low + step * (i - from);
      return;
    }
    fill(from, middle, low, half);
    fill(middle, to, half, high);
  }

  const span = Math.min(LONGEST_SPAN, entries);
  let low = valueAt(0);
  table[0] = low;
  for (let from = 0; from < entries; from += span) {
    const high = valueAt(from + span);
    table[from + span] = high;
    fill(from, from + span, low, high);
    low = high;
  }
  return { table, shift, maxCounts: 2 ** bits - 1 };
}

/** The tables of several channels, end to end. */
export interface Lookups {
  readonly table: Float32Array;
  readonly start: Int32Array;
  readonly shift: Int32Array;
  readonly maxCounts: Int32Array;
}

export function joinLookups(lookups: readonly Lookup[]): Lookups {
  const start = new Int32Array(lookups.length);
  let size = 0;
  for (const [i, lookup] of lookups.entries()) {
    start[i] = size;
    size += lookup.table.length;
  }
  const table = new Float32Array(size);
  for (const [i, lookup] of lookups.entries()) table.set(lookup.table, start[i]);
  return {
    table,
    start,
    shift: Int32Array.from(lookups, (lookup) => lookup.shift),
    maxCounts: Int32Array.from(lookups, (lookup) => lookup.maxCounts),
  };
}

/** Value of a channel at counts; counts beyond the converter's range read as its end. */
export function lookAt(lookups: Lookups, channel: number, counts: number): number {
  const { table, start, shift, maxCounts } = lookups;
  const c = Math.min(counts, maxCounts[channel]);
  const bits = shift[channel];
  const i = start[channel] + (c >> bits);
  const low = table[i];
  if (bits === 0) return low;
  return low + (table[i + 1] - low) * ((c & ((1 << bits) - 1)) / (1 << bits));
}

/** Values of all channels at their counts: lookAt over arrays alone, so that it compiles to one loop. */
export function lookAtAll(lookups: Lookups, counts: Uint16Array, values: Float64Array): void {
  const { table, start, shift, maxCounts } = lookups;
  for (let i = 0; i < values.length; i++) {
    const count = counts[i];
    const most = maxCounts[i];
    const c = Math.min(count, most);
    const bits = shift[i];
    const at = start[i] + (c >> bits);
    const low = table[at];
    values[i] = bits === 0 ? low : low + (table[at + 1] - low) * ((c & ((1 << bits) - 1)) / (1 << bits));
  }
}

/** The same for one channel's table. */
export const look = (lookup: Lookup, counts: number): number => lookAt(joinLookups([lookup]), 0, counts);
