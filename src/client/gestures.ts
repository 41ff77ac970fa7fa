import type { HandSide } from '../hand/joints.js';
import { GESTURES } from '../protocol/constants.js';
import type { GestureChange, GesturesReport } from './options.js';

/** What begins and ends from one report to the next. A report says all, so one that a slow app missed is made up for. */
export class GestureChanges {
  readonly #active = new Map<HandSide, ReadonlySet<string>>();

  /** @returns what has changed since the last report of that hand */
  changes({ hand, states, timeUs }: GesturesReport): GestureChange[] {
    const before = this.#active.get(hand);
    const now = new Set<string>(GESTURES.filter((name) => states[name].active));
    this.#active.set(hand, now);
    return GESTURES.filter((name) => now.has(name) !== (before?.has(name) ?? false)).map((gesture) => ({
      hand,
      gesture,
      active: now.has(gesture),
      timeUs: states[gesture].sinceUs ?? timeUs,
    }));
  }

  /** The connection is lost: whatever is being made ends. */
  end(timeUs: number): GestureChange[] {
    const ended = [...this.#active].flatMap(([hand, names]) =>
      GESTURES.filter((name) => names.has(name)).map((gesture) => ({ hand, gesture, active: false, timeUs })),
    );
    this.#active.clear();
    return ended;
  }
}
