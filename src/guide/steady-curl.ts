/** Longer than people pause on the way, as common practice has it. */
const STEADY_S = 0.9;
/** Curl is steady within this, from its 5th to its 95th percentile. */
const STEADY = 0.02;
const RING = 320;
const SAMPLE_S = 0.004;
const JUDGE_S = 0.05;
const LEAST_SAMPLES = 8;

/** Tells when a finger has come to a stand. Pure: time is passed in. */
export interface SteadyCurl {
  /** Forgets what was seen. */
  reset(): void;
  /** @returns where the finger stands, once it has stood for STEADY_S; else NaN */
  take(timeS: number, curl: number): number;
}

export function createSteadyCurl(): SteadyCurl {
  const times = new Float64Array(RING);
  const values = new Float64Array(RING);
  let kept = 0;
  let judgedS = Number.NEGATIVE_INFINITY;

  /** Of the last STEADY_S, in order of size; undefined while less has been seen. */
  function window(timeS: number): number[] | undefined {
    const seen: number[] = [];
    for (let i = kept - 1; i >= 0 && i > kept - RING; i--) {
      if (timeS - times[i % RING] > STEADY_S) {
        return seen.length < LEAST_SAMPLES ? undefined : seen.sort((a, b) => a - b);
      }
      seen.push(values[i % RING]);
    }
    return undefined;
  }

  return {
    reset() {
      kept = 0;
    },
    take(timeS, curl) {
      if (kept > 0 && timeS - times[(kept - 1) % RING] < SAMPLE_S) return Number.NaN;
      times[kept % RING] = timeS;
      values[kept % RING] = curl;
      kept++;
      if (timeS - judgedS < JUDGE_S && timeS >= judgedS) return Number.NaN;
      judgedS = timeS;
      const seen = window(timeS);
      if (!seen) return Number.NaN;
      const of = (share: number) => seen[Math.round(share * (seen.length - 1))];
      return of(0.95) - of(0.05) <= STEADY ? of(0.5) : Number.NaN;
    },
  };
}
