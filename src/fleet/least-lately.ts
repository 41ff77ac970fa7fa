/** The least of the values of the last minute or so, in slots. */
export interface LeastLately {
  add(value: number, nowMs: number): void;
  /** Undefined when there was none. */
  read(nowMs: number): number | undefined;
}

const SLOTS = 6;

export function createLeastLately(windowMs = 60_000): LeastLately {
  const slotMs = windowMs / SLOTS;
  const least = new Float64Array(SLOTS).fill(Number.POSITIVE_INFINITY);
  let slot = 0;
  function turn(nowMs: number): void {
    const now = Math.floor(nowMs / slotMs);
    // After a long silence every slot is old.
    for (let s = Math.max(slot + 1, now - SLOTS + 1); s <= now; s++)
      least[s % SLOTS] = Number.POSITIVE_INFINITY;
    if (now > slot) slot = now;
  }
  return {
    add(value, nowMs) {
      turn(nowMs);
      if (value < least[slot % SLOTS]) least[slot % SLOTS] = value;
    },
    read(nowMs) {
      turn(nowMs);
      const value = Math.min(...least);
      return Number.isFinite(value) ? value : undefined;
    },
  };
}
