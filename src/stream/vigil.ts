import type { Glove } from '../glove/glove.js';
import type { AppConnection } from './connection.js';

/** A watch that comes so much too late says that the service was busy, not the apps silent, ms. */
const LATE_MS = 50;

/**
 * Watches over those who may hold fingers: that they are alive, and that nothing which they sent before a glove was
 * disarmed counts after it, whoever disarmed it. Disarms over the stream and HTTP draw that line themselves; here are
 * those that come from the glove: its button, a stretched hand, a lost link.
 * @returns ends it
 */
export function keepVigil(
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
