import { gaussian, random } from '../../sensing/glove-signals.js';
import type { HandState } from '../wearer.js';

/**
 * A simulated wearer whom nobody asks for anything: he does what hands do. Movements between poses are about of least jerk
 * (Flash & Hogan 1985): blunter or softer, skewed, some with a correction at the end, with fingers that start and arrive one
 * after the other; held poses creep and tremble. How
 * often which pose is taken, how far people fall short and how uneven fingers are is common practice, not measured.
 */
export interface EverydayOptions {
  seed: number;
  /** Standard deviation of what is missing to a full pose, part of the range. */
  sloppiness?: number;
  /** What he does, by weight; what is left out is not done. */
  habits?: Partial<Record<Habit, number>>;
  /** Fingers that move at all; the others rest where they are. */
  fingers?: readonly number[];
  /** Standard deviation of a finger's start among the others', s. */
  unevenS?: number;
}

export type Habit = 'rest' | 'flat' | 'fist' | 'grasp' | 'point' | 'thumbUp' | 'pinch' | 'fiddle' | 'mug';

export const HABITS: Record<Habit, number> = {
  rest: 3,
  flat: 2.5,
  fist: 2,
  grasp: 4,
  point: 1,
  thumbUp: 0.5,
  pinch: 2,
  fiddle: 2,
  mug: 0,
};

const FINGERS = 5;

export function createEverydayWearer(options: EverydayOptions) {
  const { seed, sloppiness = 0.025, fingers = [0, 1, 2, 3, 4], unevenS = 0.025 } = options;
  const habits = Object.entries(options.habits ?? HABITS).filter(([, weight]) => weight > 0);
  const uniform = random(seed * 31 + 7);
  const normal = gaussian(seed * 17 + 3);
  const between = (low: number, high: number) => low + (high - low) * uniform();
  const short = () => Math.abs(normal()) * sloppiness;
  const hand: HandState = {
    curls: new Float64Array(5),
    splays: new Float64Array(5),
    controls: { 'stick.x': 0, 'stick.y': 0, trigger: 0, squeeze: 0 },
  };
  const from = Float64Array.from({ length: FINGERS }, () => 0.2);
  const to = Float64Array.from(from);
  const startS = new Float64Array(FINGERS);
  const lengthS = new Float64Array(FINGERS).fill(1);
  const skew = new Float64Array(FINGERS).fill(1);
  /** Whoever closes early does so each time: a habit of each finger, closing and opening alike. */
  const ownLagS = Float64Array.from({ length: FINGERS }, () => 0.015 * normal());
  let holdUntilS = 0;
  let creep = 0;
  /** -1: with jerks at start and end, 0: of least jerk, 1: a sine of acceleration. */
  let manner = 0;
  /** Part of the way that the first go falls short by, to be made up for slowly. */
  let correction = 0;

  function choose(): Habit {
    let left = uniform() * habits.reduce((sum, [, weight]) => sum + weight, 0);
    for (const [habit, weight] of habits) {
      left -= weight;
      if (left <= 0) return habit as Habit;
    }
    return habits[0][0] as Habit;
  }

  function poseOf(habit: Habit): number[] {
    const shared = short() * 0.7;
    const open = () => shared + short() * 0.5;
    const closed = () => 1 - shared - short() * 0.5;
    if (habit === 'flat') return Array.from({ length: 5 }, open);
    if (habit === 'fist') return Array.from({ length: 5 }, closed);
    if (habit === 'rest') {
      const all = between(0.12, 0.35);
      return Array.from({ length: 5 }, (_, f) => all + 0.03 * f + 0.03 * normal());
    }
    if (habit === 'grasp') {
      const all = between(0.35, 0.9);
      return Array.from({ length: 5 }, () => all + 0.06 * normal());
    }
    if (habit === 'mug') return [0.6, 0.68, 0.7, 0.71, 0.72].map((x) => x + 0.01 * normal());
    if (habit === 'point') return [between(0.5, 1), open() + 0.02, closed(), closed(), closed()];
    if (habit === 'thumbUp') return [open(), closed(), closed(), closed(), closed()];
    if (habit === 'pinch') {
      const rest = between(0.15, 0.45);
      return [0.5, 0.5, rest, rest + 0.03, rest + 0.05].map((x) => x + 0.03 * normal());
    }
    const one = Math.floor(uniform() * 5);
    return Array.from({ length: 5 }, (_, f) => Math.max(0, to[f] + (f === one ? 0.3 : 0.04) * normal()));
  }

  function next(nowS: number): void {
    const pose = poseOf(choose());
    const allS = between(0.3, 0.9);
    const pauseS = between(0, 0.2);
    let lastS = nowS;
    for (const f of fingers) {
      from[f] = to[f];
      to[f] = Math.min(1, Math.max(0, pose[f]));
      startS[f] = nowS + pauseS + Math.max(0, ownLagS[f] + unevenS * normal() + 0.05);
      lengthS[f] = Math.max(0.15, allS * (1 + 0.08 * normal()));
      // Closing, hands are quick first and then careful.
      skew[f] = Math.max(0.6, (to[f] > from[f] ? 0.93 : 1) + 0.08 * normal());
      lastS = Math.max(lastS, startS[f] + lengthS[f]);
    }
    holdUntilS = lastS + (uniform() < 0.15 ? between(2, 5) : between(0.25, 1.6));
    creep = 0.01 * normal();
    manner = between(-0.7, 1);
    correction = uniform() < 0.25 ? between(0.03, 0.15) : 0;
  }

  function corrected(s: number, t: number): number {
    const late = Math.max(0, (t - 0.6) / 0.4);
    return s * (1 - correction) + correction * late * late * (3 - 2 * late);
  }

  return {
    hand,
    at(nowS: number): HandState {
      if (nowS >= holdUntilS) next(nowS);
      for (let f = 0; f < FINGERS; f++) {
        const t = Math.min(1, Math.max(0, (nowS - startS[f]) / lengthS[f])) ** skew[f];
        const jerk = t * t * t * (10 - 15 * t + 6 * t * t);
        const sine = t - Math.sin(2 * Math.PI * t) / (2 * Math.PI);
        const blunt = t * t * (3 - 2 * t);
        const s = manner < 0 ? jerk - manner * (blunt - jerk) : jerk + manner * (sine - jerk);
        const tremble = 0.002 * Math.sin(2 * Math.PI * 9 * nowS + f) + creep * Math.sin(0.9 * nowS + f);
        const inside = Math.min(1, 4 * Math.max(0, Math.min(to[f], 1 - to[f])));
        const x =
          from[f] + corrected(s, t) * (to[f] - from[f]) + (fingers.includes(f) ? tremble * inside : 0);
        hand.curls[f] = Math.min(1, Math.max(0, x));
      }
      return hand;
    },
  };
}
