import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

/** What a campaign found. */
export interface FuzzReport {
  target: string;
  seed: number;
  /** Inputs given: bytes of the link, messages, files, profiles. */
  count: number;
  seconds: number;
  crashes: { input: number; error: string }[];
  /** Longest time that one input kept the event loop, ms. */
  longestMs: number;
  longestInput: number;
  /** Inputs that took longer than BAR_MS. */
  overBar: number;
  /** Heap in use at the end, less that after the first tenth, MB. */
  heapGrowthMb: number;
  /** How often each kind of outcome came: a campaign that only ever meets one of them tests little. */
  outcomes: Record<string, number>;
}

/** No input may keep the event loop for longer, ms. */
export const BAR_MS = 50;
const MAX_CRASHES = 10;

export interface Watch {
  readonly outcomes: Record<string, number>;
  count(outcome: string): void;
  /**
   * Runs what one input causes, times it, and keeps what it throws. The time is the lesser of the wall's and of the
   * processor's, so that what other programs take on a busy machine is not laid to the input.
   */
  run(input: number, act: () => void): void;
  /** Keeps a broken promise as a crash. */
  crash(input: number, error: unknown): void;
  /** Call after the first tenth: caches are filled by then. */
  settled(): void;
  report(target: string, seed: number, count: number): FuzzReport;
}

setFlagsFromString('--expose-gc');
const collectGarbage = runInNewContext('gc') as () => void;
const heapMb = (): number => {
  collectGarbage();
  return process.memoryUsage().heapUsed / 2 ** 20;
};

export function createWatch(): Watch {
  const startMs = performance.now();
  const outcomes: Record<string, number> = {};
  const crashes: FuzzReport['crashes'] = [];
  let longestMs = 0;
  let longestInput = -1;
  let overBar = 0;
  let settledMb = 0;
  const crash = (input: number, error: unknown): void => {
    if (crashes.length >= MAX_CRASHES) return;
    crashes.push({ input, error: error instanceof Error ? (error.stack ?? error.message) : String(error) });
  };
  return {
    outcomes,
    count(outcome) {
      outcomes[outcome] = (outcomes[outcome] ?? 0) + 1;
    },
    run(input, act) {
      const cpu = process.cpuUsage();
      const beganMs = performance.now();
      try {
        act();
      } catch (error) {
        crash(input, error);
      }
      let tookMs = performance.now() - beganMs;
      if (tookMs <= longestMs && tookMs <= BAR_MS) return;
      const used = process.cpuUsage(cpu);
      tookMs = Math.min(tookMs, (used.user + used.system) / 1000);
      if (tookMs > BAR_MS) overBar++;
      if (tookMs <= longestMs) return;
      longestMs = tookMs;
      longestInput = input;
    },
    crash,
    settled() {
      settledMb = heapMb();
    },
    report: (target, seed, count) => ({
      target,
      seed,
      count,
      seconds: Math.round(performance.now() - startMs) / 1000,
      crashes,
      longestMs: Math.round(longestMs * 100) / 100,
      longestInput,
      overBar,
      heapGrowthMb: Math.round((heapMb() - settledMb) * 100) / 100,
      outcomes,
    }),
  };
}
