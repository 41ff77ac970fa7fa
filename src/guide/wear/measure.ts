import { createUseRecord, ROW_S } from '../from-use/use-record.js';
import { FASTEST_PER_S, JUMP_STEP } from '../guided-run.js';
import { median, noiseOf, quantile } from '../move-statistics.js';

/** How a sensor was on one day: what wears shows in these. */
export interface SensorDay {
  readonly role: string;
  /** Standard deviation of the noise, part of full scale. */
  readonly noise: number;
  /** Ends of what was used, parts of full scale, lower first; NaN when the hand did not go far. */
  readonly low: number;
  readonly high: number;
  /** How far the other fingers have gone before it begins to move, part of its range: friction. NaN: not to be told. */
  readonly friction: number;
  /** Steps that no finger makes, an hour. */
  readonly jumpsPerHour: number;
}

/** Takes the samples of one session; pure, but for its own memory. */
export interface SensorDays {
  /** @param counts of the channels, in order */
  sample(counts: ArrayLike<number>, timeS: number): void;
  /** Seconds of samples. */
  readonly seconds: number;
  end(): SensorDay[];
}

export interface MeasuredChannel {
  readonly role: string;
  readonly maxCounts: number;
  /** Index into FINGERS, -1: not of a finger. */
  readonly finger: number;
  /** 1: counts rise as the finger closes. */
  readonly towards: number;
}

/** Samples that noise is judged by, and such blocks kept. */
const BLOCK = 200;
const MOST_BLOCKS = 1500;
/** A gap is no step. */
const LONGEST_STEP_S = 0.1;
/** Less range than this says nothing of ends. */
const LEAST_RANGE = 0.1;
const NOBODY = new Uint8Array(0);

export function createSensorDays(channels: readonly MeasuredChannel[]): SensorDays {
  const n = channels.length;
  const record = createUseRecord(channels.map(({ maxCounts }) => maxCounts));
  const blocks = channels.map(() => [] as number[]);
  const block = Array.from({ length: n }, () => new Uint16Array(BLOCK));
  const last = new Float64Array(n);
  const jumps = new Float64Array(n);
  let inBlock = 0;
  let lastS = Number.NaN;
  let seconds = 0;
  let every = 1;
  let passed = 0;

  function endBlock(): void {
    inBlock = 0;
    if (passed++ % every !== 0) return;
    for (let i = 0; i < n; i++) blocks[i].push(noiseOf(block[i]) / channels[i].maxCounts);
    // Of a long session every second block, and so on, so that all of it counts.
    if (n === 0 || blocks[0].length < MOST_BLOCKS) return;
    for (let i = 0; i < n; i++) blocks[i] = blocks[i].filter((_, k) => k % 2 === 0);
    every *= 2;
  }

  return {
    get seconds() {
      return seconds;
    },
    sample(counts, timeS) {
      const dtS = timeS - lastS;
      lastS = timeS;
      record.sample(counts, timeS, NOBODY);
      const follows = dtS > 0 && dtS < LONGEST_STEP_S;
      if (!follows) inBlock = 0;
      else seconds += dtS;
      for (let i = 0; i < n; i++) {
        const { maxCounts } = channels[i];
        if (follows && Math.abs(counts[i] - last[i]) > (JUMP_STEP + FASTEST_PER_S * dtS) * maxCounts)
          jumps[i]++;
        last[i] = counts[i];
        block[i][inBlock] = counts[i];
      }
      if (++inBlock === BLOCK) endBlock();
    },
    end() {
      const { timesS, counts } = record.read();
      const levels = channels.map(({ maxCounts, towards }, i) => {
        const [low, high] = [quantile(counts[i], 0.01), quantile(counts[i], 0.99)];
        return {
          low: low / maxCounts,
          high: high / maxCounts,
          values: partsOf(counts[i], low, high, towards),
        };
      });
      const frictions = frictionsOf(
        timesS,
        channels,
        levels.map(({ values }) => values),
      );
      return channels.map(({ role }, i): SensorDay => {
        const { low, high } = levels[i];
        const far = high - low >= LEAST_RANGE;
        return {
          role,
          noise: blocks[i].length > 0 ? median(blocks[i]) : Number.NaN,
          low: far ? low : Number.NaN,
          high: far ? high : Number.NaN,
          friction: far ? frictions[i] : Number.NaN,
          jumpsPerHour: seconds > 0 ? (3600 * jumps[i]) / seconds : Number.NaN,
        };
      });
    },
  };
}

/** 0 open to 1 closed, by what was used. */
const partsOf = (counts: Uint16Array, low: number, high: number, towards: number): Float64Array =>
  Float64Array.from(counts, (x) => (towards > 0 ? x - low : high - x) / Math.max(1, high - low));

/** Part of the way from one row to another that a finger has gone by a third. */
const progressOf = (values: Float64Array, first: number, end: number, at: number): number => {
  const way = values[end] - values[first];
  return Math.abs(way) < FAR / 2 ? 0 : Math.min(1, Math.max(0, (values[at] - values[first]) / way));
};

/** A sensor has begun to move, part of its range: beyond its noise. */
const STIRRED = 0.03;
/** Motions that friction is judged by, at least. */
const LEAST_MOTIONS = 8;
const FAR = 0.35;
const MOVES_PER_S = 0.15;

/**
 * A string that rubs does not move its sensor at first, whichever way the finger goes: how far the other fingers have gone
 * before a sensor begins to move, part of its range. In the beginning hands are slow, so that fingers which are late cost
 * little; what is left of that is alike day after day, and only a change tells anything.
 */
function frictionsOf(
  timesS: Float64Array,
  channels: readonly MeasuredChannel[],
  values: readonly Float64Array[],
): number[] {
  const fingers = channels.flatMap(({ finger }, i) => (finger >= 0 ? [i] : []));
  const behind = channels.map(() => [] as number[]);
  if (fingers.length < 3) return channels.map(() => Number.NaN);
  const mean = Float64Array.from(timesS, (_, k) => {
    let sum = 0;
    for (const i of fingers) sum += values[i][k];
    return sum / fingers.length;
  });
  let from = -1;
  for (let k = 2; k < timesS.length; k++) {
    const dtS = timesS[k] - timesS[k - 2];
    const whole = dtS < 5 * ROW_S;
    const moves = whole && Math.abs(mean[k] - mean[k - 2]) > MOVES_PER_S * dtS;
    if (moves && from < 0) from = k - 2;
    if (moves || from < 0) continue;
    if (whole) addMotion(from, k - 1);
    from = -1;
  }

  function addMotion(first: number, end: number): void {
    const way = mean[end] - mean[first];
    if (Math.abs(way) < FAR) return;
    for (const i of fingers) {
      const start = values[i][first];
      const own = values[i][end] - start;
      // It took part as the others did.
      if (Math.abs(own) < FAR || Math.sign(own) !== Math.sign(way)) continue;
      let k = first;
      while (k < end && Math.abs(values[i][k] - start) < STIRRED) k++;
      // Of the others alone: how far they had gone, by the part of their way, when this one began to move.
      let rest = 0;
      for (const j of fingers)
        if (channels[j].finger !== channels[i].finger) rest += progressOf(values[j], first, end, k);
      const others = fingers.filter((j) => channels[j].finger !== channels[i].finger).length;
      behind[i].push((rest / others) * Math.abs(own) - STIRRED);
    }
  }

  return behind.map((own) => (own.length < LEAST_MOTIONS ? Number.NaN : median(own)));
}
