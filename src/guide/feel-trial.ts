import type { Feel } from '../resistance/wearer-feel.js';

/**
 * A blind comparison of two ways that a force may feel. In each round the wearer feels a first and a second, as often as
 * wanted, without knowing which is which, and says which is better. The order is drawn for each round, so that each comes first
 * as often as the other. Pure: draws are passed in.
 */
export interface FeelTrial {
  readonly what: Feel;
  readonly rounds: number;
  /** From 1; more than `rounds` once every round is decided. */
  readonly round: number;
  readonly done: boolean;
  readonly showing: Place;
  /** Which of the two were felt in this round. */
  readonly felt: { readonly first: boolean; readonly second: boolean };
  /** What is to be felt now; undefined once it is done. */
  readonly value: number | undefined;
  show(which: Place): void;
  /** The wearer has felt what is shown. */
  feel(): void;
  /** @returns why it does not count */
  choose(which: Place | 'same'): string | undefined;
  /** What was what; undefined until every round is decided. */
  reveal(): Revealed | undefined;
}

export type Place = 'first' | 'second';
export type Side = 'a' | 'b';

export interface Revealed {
  a: number;
  b: number;
  /** In order. */
  rounds: { first: Side; chosen: Side | 'same' }[];
  chosen: { a: number; b: number; same: number };
  /** Chosen more often. */
  preferred?: Side;
  /** How likely choices by the toss of a coin would be as one-sided as these, or more, 0..1. */
  byChance: number;
}

export const MOST_ROUNDS = 20;
const OTHER = { first: 'second', second: 'first', a: 'b', b: 'a' } as const;

/** @param draw in 0..1, anew at each call */
export function createFeelTrial(
  what: Feel,
  a: number,
  b: number,
  rounds: number,
  draw: () => number,
): FeelTrial {
  const firsts = ordersOf(rounds, draw);
  const decided: Revealed['rounds'] = [];
  let showing: Place = 'first';
  let felt = { first: false, second: false };

  const done = (): boolean => decided.length >= rounds;
  const sideOf = (place: Place): Side => {
    const first = firsts[decided.length];
    return place === 'first' ? first : OTHER[first];
  };

  return {
    what,
    rounds,
    get round() {
      return decided.length + 1;
    },
    get done() {
      return done();
    },
    get showing() {
      return showing;
    },
    get felt() {
      return felt;
    },
    get value() {
      if (done()) return undefined;
      return sideOf(showing) === 'a' ? a : b;
    },
    show(which) {
      showing = which;
    },
    feel() {
      if (!done()) felt = { ...felt, [showing]: true };
    },
    choose(which) {
      if (done()) return 'Every round is decided.';
      const missing = (['first', 'second'] as const).find((place) => !felt[place]);
      if (missing) return `Feel the ${missing} as well, before you choose.`;
      decided.push({ first: firsts[decided.length], chosen: which === 'same' ? 'same' : sideOf(which) });
      showing = 'first';
      felt = { first: false, second: false };
      return undefined;
    },
    reveal() {
      if (!done()) return undefined;
      const count = (side: Side | 'same') => decided.filter(({ chosen }) => chosen === side).length;
      const chosen = { a: count('a'), b: count('b'), same: count('same') };
      return {
        a,
        b,
        rounds: [...decided],
        chosen,
        ...(chosen.a === chosen.b ? {} : { preferred: chosen.a > chosen.b ? 'a' : 'b' }),
        byChance: byChance(chosen.a, chosen.b),
      };
    },
  };
}

/** Which comes first in each round: each as often as the other, the odd one drawn as well; shuffled (Fisher and Yates). */
function ordersOf(rounds: number, draw: () => number): Side[] {
  const odd: Side = draw() < 0.5 ? 'a' : 'b';
  const orders = Array.from({ length: rounds }, (_, i): Side => (i % 2 === 0 ? odd : OTHER[odd]));
  for (let i = orders.length - 1; i > 0; i--) {
    const j = Math.min(i, Math.floor(draw() * (i + 1)));
    [orders[i], orders[j]] = [orders[j], orders[i]];
  }
  return orders;
}

/**
 * The sign test, two-sided (W. Dixon and A. Mood, J. Am. Stat. Assoc. 41, 1946; from memory): how likely heads and tails
 * of a fair coin differ by as much as these, or more. Rounds without a difference do not count.
 */
export function byChance(one: number, other: number): number {
  const n = one + other;
  const more = Math.max(one, other);
  let tail = 0;
  let ways = 1;
  for (let k = 0; k <= n; k++) {
    if (k >= more) tail += ways;
    ways = (ways * (n - k)) / (k + 1);
  }
  return Math.min(1, (2 * tail) / 2 ** n);
}
