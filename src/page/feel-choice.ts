import { computed, type ReadonlySignal, type Signal, signal } from '@preact/signals';
import type { FeelValues } from '../glove/feel-report.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import type { StartingValue } from '../resistance/starting-values.js';
import { FEELS, type Feel } from '../resistance/wearer-feel.js';
import type { FeelWish } from './feel-session.js';
import { fromShown, shownValue } from './feel-words.js';

const ROUNDS = 4;

/** Numbers as they are written in their fields. */
export type FeelNumber = 'a' | 'b' | 'rounds';

/** What is to be compared, on which finger, and for whom, before it begins. */
export interface FeelChoice {
  /** On which something acts. */
  readonly fingers: ReadonlySignal<readonly Finger[]>;
  readonly finger: ReadonlySignal<Finger>;
  /** What can be felt on the finger, and what not, and why. */
  readonly feels: ReadonlySignal<readonly StartingValue[]>;
  readonly what: ReadonlySignal<Feel | undefined>;
  readonly numbers: Signal<Readonly<Record<FeelNumber, string>>>;
  readonly person: Signal<string>;
  /** Chooses, with values to begin with. */
  take(finger: Finger, wanted: Feel | undefined): void;
  /** What is chosen, or the first that can be; the values may be of another hand. */
  start(): void;
  /** Undefined while nothing can be compared. */
  wish(): FeelWish | undefined;
}

/** @param values of the service: where to begin */
export function createFeelChoice(values: ReadonlySignal<FeelValues | undefined>): FeelChoice {
  const finger = signal<Finger>('index');
  const what = signal<Feel | undefined>(undefined);
  const numbers = signal<Readonly<Record<FeelNumber, string>>>({ a: '', b: '', rounds: String(ROUNDS) });
  const person = signal('');
  const fingers = computed(() => FINGERS.filter((name) => feelsOf(values.value, name).length > 0));

  function take(name: Finger, wanted: Feel | undefined): void {
    finger.value = name;
    const able = feelsOf(values.peek(), name).filter(({ value }) => value !== undefined);
    const one = able.find(({ what: its }) => its === wanted) ?? able[0];
    what.value = one?.what;
    if (one?.value === undefined || one.against === undefined) return;
    numbers.value = {
      ...numbers.peek(),
      a: String(shownValue(one.what, one.value)),
      b: String(shownValue(one.what, one.against)),
    };
  }
  return {
    fingers,
    finger,
    feels: computed(() => feelsOf(values.value, finger.value)),
    what,
    numbers,
    person,
    take,
    start() {
      const found = fingers.peek();
      const first = found.find((name) => name === finger.peek()) ?? found[0];
      if (first) take(first, what.peek());
    },
    wish() {
      const chosen = what.peek();
      if (chosen === undefined) return undefined;
      const { a, b, rounds } = numbers.peek();
      return {
        what: chosen,
        finger: finger.peek(),
        a: fromShown(chosen, Number(a)),
        b: fromShown(chosen, Number(b)),
        rounds: Number(rounds),
        person: person.peek().trim(),
      };
    },
  };
}

/** Of the actuators of a finger: what can be felt there, and why not. */
function feelsOf(values: FeelValues | undefined, name: Finger): StartingValue[] {
  const own = (values?.actuators ?? []).filter(({ role }) => role === name);
  return FEELS.flatMap((one) => {
    const all = own.flatMap(({ values: its }) => its).filter(({ what }) => what === one);
    return all.find(({ value }) => value !== undefined) ?? all[0] ?? [];
  });
}
