import type { Glove } from '../glove/glove.js';
import type { AppConnection } from './connection.js';

/** A watch that comes this late says that the service was busy, not that the apps were silent, ms. */
const LATE_MS = 50;

/**
 * Watches the apps that may hold fingers: that they are alive, and that nothing they sent before a disarm counts after
 * it. Disarms over the stream and HTTP draw that line themselves; this covers those that come from the glove: its
 * button, a stretched hand, a lost link.
 */
export interface HolderWatch {
  /** There is something to watch: a connection may hold fingers from now on, or has begun to say a disarm. */
  wake(): void;
  end(): void;
}

/** @param everyMs how often, while there is something to watch; nothing runs while there is not */
export function watchHolders(
  gloves: readonly Glove[],
  connections: ReadonlySet<Pick<AppConnection, 'watch' | 'drawLine'>>,
  everyMs: number,
): HolderWatch {
  const ends = gloves.map((glove) => {
    let { armed } = glove;
    return glove.listen({
      resistance() {
        if (armed && !glove.armed) for (const connection of connections) connection.drawLine();
        armed = glove.armed;
      },
    });
  });
  let watchedMs = 0;
  let timer: NodeJS.Timeout | undefined;
  let ended = false;

  function look(): void {
    const nowMs = performance.now();
    const late = nowMs - watchedMs > everyMs + LATE_MS;
    watchedMs = nowMs;
    let isNeeded = false;
    for (const connection of connections) isNeeded = connection.watch(nowMs, late) || isNeeded;
    if (!isNeeded) rest();
  }

  function rest(): void {
    clearInterval(timer);
    timer = undefined;
  }

  return {
    wake() {
      if (timer || ended) return;
      watchedMs = performance.now();
      timer = setInterval(look, everyMs);
    },
    end() {
      ended = true;
      rest();
      for (const end of ends) end();
    },
  };
}
