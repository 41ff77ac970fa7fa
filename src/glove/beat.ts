import { untilNextMs } from '../clock.js';
import type { GloveLifecycle, GloveParts } from './lifecycle.js';
import type { GloveTroubles } from './troubles.js';

/** At most, in silence too: the governor counts on a step so often. */
export const BEAT_MS = 20;
const MEASURE_US = 1_000_000;

/** What a glove does whether samples come or not: notices silence, lets forces expire, measures rates. */
export interface Beat {
  start(): void;
  stop(): void;
}

/** @param look called once a second */
export function createBeat(
  parts: GloveParts,
  lifecycle: GloveLifecycle,
  troubles: GloveTroubles,
  staleMs: number,
  look: () => void,
): Beat {
  const { time, frame, link, presence, forces, guide, feel, otherHand, listeners, counters, log } = parts;
  let cancel = (): void => {};
  let measuredUs = Number.NEGATIVE_INFINITY;

  function beat(): void {
    const nowUs = time.nowUs();
    cancel = time.after(untilNextMs(nowUs, BEAT_MS), beat);
    guide.notice(nowUs);
    feel.notice(nowUs);
    if (otherHand.look(nowUs)) listeners.health();
    if (presence.beat(nowUs, frame.valid)) {
      lifecycle.silent(`No samples for ${staleMs} ms: the glove or its cable is silent.`);
    }
    forces.step(nowUs);
    forces.repeatRelease(nowUs);
    log.flush(nowUs);
    if (nowUs - measuredUs < MEASURE_US) return;
    measuredUs = nowUs;
    counters.measure(nowUs);
    troubles.measure();
    look();
    if (link.status.state === 'live' && !presence.introduced) notUnderstood(troubles.stranger(nowUs));
    if (log.bursts()) listeners.health();
  }

  /** @param why undefined as long as it may still describe itself */
  function notUnderstood(why: string | undefined): void {
    if (why === undefined || why === frame.reason) return;
    frame.reason = why;
    log.notUnderstood(why);
    listeners.health();
  }

  return {
    start: beat,
    stop: () => cancel(),
  };
}
