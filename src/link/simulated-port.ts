import { type Clock, systemClock } from '../clock.js';
import type { OpenPort } from './link.js';
import { createSimulatedGlove, type SimulatedGlove, type SimulatedGloveOptions } from './simulated-glove.js';

/** If it is later than this, the process slept: what was due is dropped, as a real glove's buffer would. */
const MAX_CATCH_UP_US = 250_000;

export interface SimulatedPortOptions extends Omit<SimulatedGloveOptions, 'startUs'> {
  clock?: Clock;
  /** Gives access to the glove behind the port, and so to the true hand behind the counts. */
  onGlove?: (glove: SimulatedGlove) => void;
}

/**
 * The simulated glove in real time. Timers only say when to look: each tick sends all that is due on the glove's
 * absolute schedule, so late timers delay a sample but never change the rate.
 */
export function simulatedPort(options: SimulatedPortOptions): OpenPort {
  const { clock = systemClock, onGlove, ...gloveOptions } = options;
  return async (events) => {
    const glove = createSimulatedGlove({ ...gloveOptions, startUs: clock.nowUs() });
    onGlove?.(glove);
    let open = true;
    let cancel = (): void => {};
    const send = (frame: Uint8Array): void => {
      // A receiver may close the port while it takes a frame.
      if (open) events.bytes(frame, clock.nowUs());
    };
    const tick = (): void => {
      const nowUs = clock.nowUs();
      if (nowUs - glove.nextDueUs() > MAX_CATCH_UP_US) glove.skipTo(nowUs);
      glove.step(nowUs, send);
      if (open) cancel = clock.after(Math.max(0, (glove.nextDueUs() - clock.nowUs()) / 1000), tick);
    };
    cancel = clock.after(0, tick);
    return {
      address: `simulated ${options.hand} glove`,
      write(bytes) {
        if (!open) return false;
        glove.receive(bytes, clock.nowUs());
        if (glove.answersWait()) {
          // Never from within the write: bytes come when the writer is done, as on any other port.
          cancel();
          cancel = clock.after(0, tick);
        }
        return true;
      },
      async close() {
        open = false;
        cancel();
      },
    };
  };
}
