/**
 * Values that change their source without a jump. When a source is swapped (a sensor fails, or comes back), the
 * difference at that moment fades out over EASE_S while the new source is followed.
 */
export const EASE_S = 0.3;

export interface Eased {
  /** What to show for each slot. */
  readonly shown: Float64Array;
  /** Follows the slot's source for one step. */
  follow(slot: number, target: number, dtS: number): void;
  /** The source is another from now on; call before follow(). */
  swap(slot: number, target: number): void;
  /** Whether any difference is still fading out. */
  easing(): boolean;
  /** Takes the target over at once. */
  jump(slot: number, target: number): void;
}

export function createEased(slots: number): Eased {
  const shown = new Float64Array(slots);
  const gap = new Float64Array(slots);
  const leftS = new Float64Array(slots);
  return {
    shown,
    follow(slot, target, dtS) {
      if (leftS[slot] > 0) {
        const left = leftS[slot] - dtS;
        leftS[slot] = left;
        if (left > 0) {
          const t = left / EASE_S;
          shown[slot] = target + gap[slot] * t * t * (3 - 2 * t);
          return;
        }
      }
      shown[slot] = target;
    },
    swap(slot, target) {
      gap[slot] = shown[slot] - target;
      leftS[slot] = EASE_S;
    },
    easing() {
      for (let slot = 0; slot < slots; slot++) if (leftS[slot] > 0) return true;
      return false;
    },
    jump(slot, target) {
      leftS[slot] = 0;
      shown[slot] = target;
    },
  };
}
