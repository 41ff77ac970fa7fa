import type { Mutable } from '../mutable.js';

/** Debounces a field of 16 buttons on device time: a change counts once it has stood for the given time. */
export interface Debounce {
  /** Debounced bit field. */
  readonly pressed: number;
  update(bits: number, dtS: number): void;
}

export function createDebounce(steadyMs: number): Debounce {
  const steadyS = steadyMs / 1000;
  const stood = new Float64Array(16);
  let last = 0;
  let started = false;
  const debounce: Mutable<Debounce> = {
    pressed: 0,
    update(bits, dtS) {
      if (!started) {
        started = true;
        debounce.pressed = bits;
        last = bits;
        return;
      }
      const differs = bits ^ debounce.pressed;
      if (differs !== 0) {
        const steady = ~(bits ^ last);
        for (let bit = 0; bit < 16; bit++) {
          const mask = 1 << bit;
          if ((differs & mask) === 0) continue;
          // The time between two samples counts only if the button read the same in both.
          stood[bit] = steady & mask ? stood[bit] + dtS : 0;
          if (stood[bit] >= steadyS) {
            debounce.pressed ^= mask;
            stood[bit] = 0;
          }
        }
      }
      last = bits;
    },
  };
  return debounce;
}
