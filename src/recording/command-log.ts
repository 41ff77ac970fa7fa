import type { Logger } from 'pino';
import { FINGERS, type HandSide } from '../hand/joints.js';
import { createGloveFrames } from '../link/glove-frames.js';
import { logEvent } from '../log/events.js';
import { STOP_FREE, STOP_MAX } from '../protocol/link-table.js';

/** Logs what would have been sent to the gloves of a replay. */
export function logCommands(logger: Logger): {
  written(hand: HandSide, bytes: Uint8Array): void;
  summary(): string;
} {
  let resists = 0;
  let releases = 0;
  let pulses = 0;
  const readers = new Map<HandSide, ReturnType<typeof createGloveFrames>>();
  const readerOf = (hand: HandSide) => {
    let reader = readers.get(hand);
    if (!reader) {
      reader = createGloveFrames({
        askHello() {},
        ping() {},
        rate() {},
        resist({ stops, efforts, count, validForMs }) {
          resists++;
          const held = Array.from({ length: count }, (_, i) => i)
            .filter((i) => stops[i] !== STOP_FREE && efforts[i] > 0)
            .map((i) => `${FINGERS[i] ?? i} ${((100 * stops[i]) / STOP_MAX).toFixed(0)} %`);
          logEvent(logger, 'replay.resist', { hand, held, validForMs });
        },
        release() {
          releases++;
          logEvent(logger, 'replay.release', { hand });
        },
        pulse(actuator, amplitude, durationMs) {
          pulses++;
          logEvent(logger, 'replay.pulse', { hand, actuator, amplitude, durationMs });
        },
      });
      readers.set(hand, reader);
    }
    return reader;
  };
  return {
    // Text lines are the maker's own format, and not read here.
    written: (hand, bytes) => readerOf(hand).push(bytes),
    summary: () => `the glove would have been sent ${resists} stops, ${releases} releases, ${pulses} pulses`,
  };
}
