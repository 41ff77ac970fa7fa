import { cobsBound, cobsDecode, cobsEncode } from '../link/cobs.js';
import { crc16 } from '../link/crc16.js';
import { BODY_START, MAX_FRAME } from '../link/packets.js';
import { MAX_PAYLOAD, MESSAGE } from '../protocol/link-table.js';

/**
 * Removes device ids and notes from the bytes of a link. Every other byte, the length of each frame and the bounds of each
 * read stay, so that what is computed from the bytes stays the same.
 */
export interface FrameRedactor<T> {
  /**
   * @param bytes changed in place; a frame may span several reads
   * @returns the reads that are done, in order
   */
  push(item: T, bytes: Uint8Array): T[];
  /** Anything but a read: it waits for its turn among the reads. @returns what is done, in order */
  pass(item: T): T[];
  /** The reads that wait for the end of a frame; an unfinished frame is made unreadable. */
  flush(): T[];
}

/** In a hello's body: protocol and hand, then the id. */
const ID_START = BODY_START + 2;
const ID_LENGTH = 8;
/** Not a delimiter, and no COBS code that leads anywhere. */
const NOTHING = 0xff;

export function redactFrames<T>(): FrameRedactor<T> {
  const payload = new Uint8Array(MAX_PAYLOAD);
  const encoded = new Uint8Array(cobsBound(MAX_PAYLOAD));
  let waiting: T[] = [];
  /** Where the bytes of the present frame are. */
  let places: { bytes: Uint8Array; at: number }[] = [];
  /** Too long for a frame: nonsense, until the next delimiter. */
  let overlong = false;

  const fill = (): void => {
    for (const { bytes, at } of places) bytes[at] = NOTHING;
  };

  function endFrame(): void {
    const frame = Uint8Array.from(places, ({ bytes, at }) => bytes[at]);
    const length = cobsDecode(frame, 0, frame.length, payload);
    const bodyEnd = length - 2;
    if (
      length < BODY_START + 2 ||
      crc16(payload, 0, bodyEnd) !== (payload[bodyEnd] | (payload[bodyEnd + 1] << 8))
    ) {
      // A damaged frame may be a hello all the same; it is as damaged without its bytes.
      fill();
      return;
    }
    if (payload[0] === MESSAGE.hello && bodyEnd >= ID_START + ID_LENGTH) {
      payload.fill(0, ID_START, ID_START + ID_LENGTH);
    } else if (payload[0] === MESSAGE.note) payload.fill(0x2d, BODY_START, bodyEnd);
    else return;
    const crc = crc16(payload, 0, bodyEnd);
    payload[bodyEnd] = crc & 0xff;
    payload[bodyEnd + 1] = crc >> 8;
    // Frames are shorter than a COBS block, so every payload of a length has an encoding of one length.
    cobsEncode(payload, 0, length, encoded);
    places.forEach(({ bytes, at }, i) => {
      bytes[at] = encoded[i];
    });
  }

  return {
    push(item, bytes) {
      waiting.push(item);
      for (let at = 0; at < bytes.length; at++) {
        if (bytes[at] !== 0) {
          if (overlong) bytes[at] = NOTHING;
          else places.push({ bytes, at });
          if (places.length > MAX_FRAME) {
            overlong = true;
            fill();
            places = [];
          }
        } else {
          if (places.length > 0) endFrame();
          places = [];
          overlong = false;
        }
      }
      if (places.length > 0) return [];
      const done = waiting;
      waiting = [];
      return done;
    },
    pass(item) {
      if (waiting.length === 0) return [item];
      waiting.push(item);
      return [];
    },
    flush() {
      fill();
      places = [];
      const done = waiting;
      waiting = [];
      return done;
    },
  };
}
