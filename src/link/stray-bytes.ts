import { createPacketDecoder, newCounters } from './packets.js';

/**
 * What bytes look like that the codec of a profile makes nothing of: lines of text, frames, or neither, as with a wrong
 * baud rate. Looks at the last KEPT bytes; memory is fixed.
 */
export interface StrayBytes {
  see(chunk: Uint8Array): void;
  /** A new connection. */
  reset(): void;
  /** Undefined until there are bytes enough to tell. */
  look(): Look | undefined;
}

export type Look =
  | { kind: 'frames' }
  /** `line`: a whole line of numbers, cut to what fits into a message; absent where words come, which may be private. */
  | { kind: 'text'; line?: string }
  | { kind: 'unreadable' };

const KEPT = 1024;
/** Fewer bytes may be half a line, or what a board says while it starts. */
const ENOUGH = 48;
/** Part of the bytes that is printable in text; a boot message or a damaged byte may be among them. */
const PRINTABLE = 0.95;
const LONGEST_LINE = 60;
/** Part of a line of numbers that is no letter, at least. */
const NUMBERS = 0.6;
const LINE_FEED = 0x0a;
const CARRIAGE_RETURN = 0x0d;
const TAB = 0x09;

export function createStrayBytes(): StrayBytes {
  const kept = new Uint8Array(KEPT);
  let length = 0;
  let counters = newCounters();
  let decoder = createPacketDecoder(() => 'frames', counters);
  return {
    see(chunk) {
      decoder.push(chunk);
      const tail = chunk.subarray(Math.max(0, chunk.length - KEPT));
      const over = length + tail.length - KEPT;
      if (over > 0) {
        kept.copyWithin(0, over, length);
        length -= over;
      }
      kept.set(tail, length);
      length += tail.length;
    },
    reset() {
      length = 0;
      counters = newCounters();
      decoder = createPacketDecoder(() => 'frames', counters);
    },
    look() {
      // A frame with the right CRC by chance: once in 65536.
      if (counters.frames > 1) return { kind: 'frames' };
      return length < ENOUGH ? undefined : lookAt(kept.subarray(0, length));
    },
  };
}

const shown = (line: string) => line.trim().replace(/\p{C}/gu, '?').slice(0, LONGEST_LINE);

function lookAt(bytes: Uint8Array): Look {
  let printable = 0;
  for (const byte of bytes) {
    if ((byte >= 0x20 && byte < 0x7f) || byte === LINE_FEED || byte === CARRIAGE_RETURN || byte === TAB)
      printable++;
  }
  if (printable < PRINTABLE * bytes.length) return { kind: 'unreadable' };
  const lines = new TextDecoder('latin1').decode(bytes).split(/[\r\n]+/);
  // The first and the last may be cut.
  const whole = lines.slice(1, -1).filter((line) => line.trim() !== '');
  if (whole.length === 0) return { kind: 'unreadable' };
  const line = whole.findLast((one) => one.replace(/[a-z]/gi, '').length > NUMBERS * one.length);
  return { kind: 'text', ...(line === undefined ? {} : { line: shown(line) }) };
}
