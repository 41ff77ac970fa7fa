/** Ends of the range by which a channel was read, counts. */
export type Ranges = ReadonlyMap<string, { open: number; closed: number }>;

/** What a fit changes of one channel. */
export interface RangeChange {
  role: string;
  before: { open: number; closed: number };
  /** The greater of the two: how far off, parts of the whole way, the range before read an open hand and a closed one. */
  off: number;
}

/** @param fitted what the fit found @param before ranges that were in use while it was made */
export function changesByFit(
  fitted: readonly { role: string; open: number; closed: number }[],
  before: Ranges,
): RangeChange[] {
  return fitted.flatMap(({ role, open, closed }) => {
    const was = before.get(role);
    if (!was || was.open === was.closed) return [];
    const read = (counts: number): number => (counts - was.open) / (was.closed - was.open);
    return [{ role, before: was, off: Math.max(Math.abs(read(open)), Math.abs(read(closed) - 1)) }];
  });
}

/** The middle one; of an even count the mean of the two; undefined of none. */
export function medianOf(values: readonly number[]): number | undefined {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  if (sorted.length === 0) return undefined;
  return sorted.length % 2 === 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}
