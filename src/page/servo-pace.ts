/** Part of the way from stop to stop over which the pace is taken: neither the start nor the end. */
const PACE_FROM = 0.25;
const PACE_TO = 0.75;
/** Samples further apart than this say nothing of a pace, s. */
const MOST_GAP_S = 0.06;

/** The pace of a finger that is let go on. */
export interface ServoPace {
  /** curl/s; NaN: not seen. */
  readonly perS: number;
  /** Of a finger that rests at this curl, and will go on to another. */
  begin(timeS: number, curl: number, toCurl: number): void;
  take(timeS: number, curl: number): void;
}

/** How fast a finger goes from one curl to another, from samples that lie close enough, interpolated between them. */
export function createServoPace(): ServoPace {
  let [from, to] = [0, 0];
  let last = { timeS: Number.NaN, curl: Number.NaN };
  let enteredS = Number.NaN;
  let perS = Number.NaN;
  const between = (now: { timeS: number; curl: number }, at: number): number =>
    last.timeS + ((at - last.curl) / (now.curl - last.curl)) * (now.timeS - last.timeS);
  return {
    get perS() {
      return perS;
    },
    begin(timeS, curl, toCurl) {
      [from, to] = [PACE_FROM, PACE_TO].map((part) => curl + (toCurl - curl) * part);
      enteredS = perS = Number.NaN;
      last = { timeS, curl };
    },
    take(timeS, curl) {
      if (timeS === last.timeS) return;
      const now = { timeS, curl };
      if (timeS - last.timeS > MOST_GAP_S) enteredS = Number.NaN;
      else {
        if (last.curl < from && curl >= from) enteredS = between(now, from);
        if (last.curl < to && curl >= to) perS = (to - from) / (between(now, to) - enteredS);
      }
      last = now;
    },
  };
}
