import type { Steps } from '../../steps.js';
import { inverse3, times } from './three-unknowns.js';
import { ROW_S } from './use-record.js';

/**
 * What each channel is ahead of the others between its ends, from how the fingers move together.
 *
 * When a hand goes from one pose to the next, its fingers set out and arrive nearly together, and in between each has
 * gone about the same part of its way (synergies: Santello, Flanders & Soechting, J. Neuroscience 18(23), 1998; cited
 * from memory). A potentiometer that is not straight is ahead of the others in closing and behind them in opening; a
 * finger that is late is behind in both. That tells them apart.
 */
export interface StrokeChannel {
  /** Part of the range, 0 open to 1 closed, as the known shape has it: 0..1 and a little beyond. */
  readonly values: Float64Array;
  readonly finger: number;
}

/** What a channel is ahead of the others, parts of the range: `bow` in the middle, `wave` at a quarter. */
export interface Ahead {
  readonly bow: number;
  readonly wave: number;
  /** Variances; infinite where nothing was seen. */
  readonly bowVariance: number;
  readonly waveVariance: number;
}

/** Mean speed of the hand from which on it moves, range a second. */
const MOVES_PER_S = 0.15;
const SHORTEST_S = 0.16;
const LONGEST_S = 2.5;
/** A channel that goes at least so far, part of the range, and fingers that must. */
const FAR = 0.25;
const LEAST_FINGERS = 3;
/** Looked at when the hand has gone these parts of its way. */
const PARTS = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9] as const;
/** Strokes without which nothing is said. */
const LEAST_STROKES = 4;
const ROUNDS = 3;
const STROKES_A_STEP = 8;
const UNKNOWNS = 3;

interface Stroke {
  from: number;
  to: number;
}

/** The basis of shapes: what is added to a straight line. */
export const bowAt = (x: number): number => 4 * x * (1 - x);
export const waveAt = (x: number): number => Math.sin(2 * Math.PI * x);

export function* aheadOfOthers(timesS: Float64Array, channels: readonly StrokeChannel[]): Steps<Ahead[]> {
  const strokes = strokesOf(timesS, channels);
  let found: Ahead[] = channels.map(() => NOTHING);
  for (let round = 0; round < ROUNDS; round++) {
    yield;
    found = yield* solve(timesS, channels, strokes, found);
  }
  return found;
}

const NOTHING: Ahead = {
  bow: 0,
  wave: 0,
  bowVariance: Number.POSITIVE_INFINITY,
  waveVariance: Number.POSITIVE_INFINITY,
};

/** From one pose to the next. */
function strokesOf(timesS: Float64Array, channels: readonly StrokeChannel[]): Stroke[] {
  const strokes: Stroke[] = [];
  const shortest = SHORTEST_S / ROW_S;
  let from = -1;
  for (let k = 2; k < timesS.length; k++) {
    let speed = 0;
    for (const { values } of channels) speed += Math.abs(values[k] - values[k - 2]);
    speed /= channels.length * (timesS[k] - timesS[k - 2]);
    const broken = timesS[k] - timesS[k - 1] > 2.5 * ROW_S;
    const moves = speed > MOVES_PER_S && !broken;
    if (moves && from < 0) from = k - 2;
    if (moves || from < 0) continue;
    const lengthS = timesS[k - 1] - timesS[from];
    if (!broken && k - from >= shortest && lengthS <= LONGEST_S) strokes.push({ from, to: k });
    from = -1;
  }
  return strokes;
}

/** One step: where the hand is on its way by what is known so far, then what each channel is ahead of that. */
function* solve(
  timesS: Float64Array,
  channels: readonly StrokeChannel[],
  strokes: readonly Stroke[],
  known: readonly Ahead[],
): Steps<Ahead[]> {
  const n = channels.length;
  const equations = channels.map(() => [] as Equation[]);
  const straight = (i: number, x: number) =>
    x - known[i].bow * bowAt(clamp(x)) - known[i].wave * waveAt(clamp(x));
  for (const [s, { from, to }] of strokes.entries()) {
    if (s % STROKES_A_STEP === 0) yield;
    const first = new Float64Array(n);
    const way = new Float64Array(n);
    const takesPart: number[] = [];
    for (const [i, { values }] of channels.entries()) {
      first[i] = straight(i, values[from]);
      way[i] = straight(i, values[to]) - first[i];
      if (Math.abs(way[i]) >= FAR) takesPart.push(i);
    }
    if (new Set(takesPart.map((i) => channels[i].finger)).size < LEAST_FINGERS) continue;
    const progress = Float64Array.from({ length: to - from + 1 }, (_, k) => {
      let sum = 0;
      for (const i of takesPart) sum += (straight(i, channels[i].values[from + k]) - first[i]) / way[i];
      return sum / takesPart.length;
    });
    for (const i of takesPart) {
      const equation = createEquation();
      for (const part of PARTS) addPoint(equation, channels[i].values, { from, to }, part, progress, timesS);
      equations[i].push(equation);
    }
  }
  return equations.map(estimate);
}

/** Normal equations of one stroke: bow, wave, and how much ahead of the hand in time, s. */
interface Equation {
  readonly a: Float64Array;
  readonly b: Float64Array;
}

const createEquation = (): Equation => ({
  a: new Float64Array(UNKNOWNS * UNKNOWNS),
  b: new Float64Array(UNKNOWNS),
});

function addPoint(
  { a, b }: Equation,
  values: Float64Array,
  { from, to }: Stroke,
  part: number,
  progress: Float64Array,
  timesS: Float64Array,
): void {
  let k = 0;
  while (k + 1 < progress.length && progress[k + 1] < part) k++;
  if (k + 1 >= progress.length || progress[k + 1] <= progress[k]) return;
  const t = clamp((part - progress[k]) / (progress[k + 1] - progress[k]));
  const value = values[from + k] + t * (values[from + k + 1] - values[from + k]);
  const first = values[from];
  const whole = values[to] - first;
  const expected = first + part * whole;
  const line = (at: (x: number) => number) =>
    at(clamp(expected)) - (1 - part) * at(clamp(first)) - part * at(clamp(values[to]));
  const slope = (whole * (progress[k + 1] - progress[k])) / (timesS[from + k + 1] - timesS[from + k]);
  const row = [line(bowAt), line(waveAt), slope];
  for (let r = 0; r < UNKNOWNS; r++) {
    b[r] += row[r] * (value - expected);
    for (let c = 0; c < UNKNOWNS; c++) a[r * UNKNOWNS + c] += row[r] * row[c];
  }
}

/** Least squares over the strokes, each of which errs as a whole. */
function estimate(equations: readonly Equation[]): Ahead {
  if (equations.length < LEAST_STROKES) return NOTHING;
  const a = new Float64Array(UNKNOWNS * UNKNOWNS);
  const b = new Float64Array(UNKNOWNS);
  for (const one of equations) {
    for (let k = 0; k < a.length; k++) a[k] += one.a[k];
    for (let k = 0; k < b.length; k++) b[k] += one.b[k];
  }
  const inverse = inverse3(a);
  if (!inverse) return NOTHING;
  const [bow, wave, lead] = times(inverse, b);
  const variance = [0, 0];
  for (const one of equations) {
    const rest = times(one.a, Float64Array.of(bow, wave, lead));
    const off = times(
      inverse,
      one.b.map((value, k) => value - rest[k]),
    );
    for (const k of [0, 1]) variance[k] += off[k] ** 2;
  }
  return { bow, wave, bowVariance: variance[0], waveVariance: variance[1] };
}

const clamp = (x: number): number => Math.min(1, Math.max(0, x));
