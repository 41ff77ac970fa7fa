import type { Glove } from '../glove/glove.js';
import type { AppConnection } from './connection.js';

/** A watch that comes this late says that the service was busy, not that the apps were silent, ms. */
const LATE_MS = 50;

/**
 * Watches the apps that may hold fingers: that they are alive, and that nothing they sent before a disarm counts after
 * it. Disarms over the stream and HTTP draw that line themselves; this covers those that come from the glove: its
 * button, a stretched hand, a lost link.
 * @returns ends the watch
 */
export function watchHolders(
  gloves: readonly Glove[],
  connections: ReadonlySet<AppConnection>,
  everyMs: number,
): () => void {
  const ends = gloves.map((glove) => {
    let { armed } = glove;
    return glove.listen({
      resistance() {
        if (armed && !glove.armed) for (const connection of connections) connection.drawLine();
        armed = glove.armed;
      },
    });
  });
  let watchedMs = performance.now();
  const timer = setInterval(() => {
    const nowMs = performance.now();
    const late = nowMs - watchedMs > everyMs + LATE_MS;
    watchedMs = nowMs;
    for (const connection of connections) connection.watch(nowMs, late);
  }, everyMs);
  return () => {
    clearInterval(timer);
    for (const end of ends) end();
  };
}
