/** One measured figure and the bar it is held against. */
export interface Figure {
  value: number;
  unit: string;
  bar: number;
  better: 'lower' | 'higher';
  /** What it was compared with, in the same run. */
  reference: string;
}

export type Figures = Record<string, Figure>;
export type Measurement = () => Promise<Figures>;

export function median(values: readonly number[]): number {
  return percentile(values, 50);
}

/** The p-th percentile (nearest rank). */
export function percentile(values: readonly number[], p: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.max(0, Math.ceil((p / 100) * sorted.length) - 1))];
}

/**
 * Times several functions in turns, so that drift of the machine's speed hits all alike. Counts the process's CPU
 * time, and takes the quickest turn of each: whatever else runs on the machine only ever adds. So turns must be
 * long enough to hold all that belongs to a call.
 * @returns per function, the time a call, ns, and its ratio to the first one's
 */
export function timeInTurns(
  functions: readonly (() => void)[],
  { rounds = 31, calls = 20_000 } = {},
): { ns: number[]; ratiosToFirst: number[] } {
  for (const f of functions) for (let i = 0; i < calls; i++) f();
  const ns = functions.map(() => Number.POSITIVE_INFINITY);
  for (let round = 0; round < rounds; round++) {
    for (const [index, f] of functions.entries()) {
      const start = process.cpuUsage();
      for (let i = 0; i < calls; i++) f();
      const { user, system } = process.cpuUsage(start);
      ns[index] = Math.min(ns[index], ((user + system) * 1000) / calls);
    }
  }
  return { ns, ratiosToFirst: ns.map((t) => t / ns[0]) };
}
