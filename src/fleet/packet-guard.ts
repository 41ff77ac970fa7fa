/**
 * Watches the heads of the packets on an MQTT connection (MQTT 5, section 2.1: a byte, then the remaining length in one to
 * four bytes of seven bits). The library takes a packet in whole before it looks at its size, and the standard permits
 * 256 MB: a broker must not be able to fill the memory.
 *
 * @param tooLarge called once; the connection has to be closed
 */
export function createPacketGuard(maxBytes: number, tooLarge: () => void): (chunk: Uint8Array) => void {
  /** Of the packet under way, bytes that are still to come. */
  let rest = 0;
  let length = 0;
  let shift = -1;
  let ended = false;
  return (chunk) => {
    for (let at = 0; at < chunk.length && !ended; ) {
      if (rest > 0) {
        const here = Math.min(rest, chunk.length - at);
        rest -= here;
        at += here;
        continue;
      }
      const byte = chunk[at++];
      if (shift < 0) {
        // The kind of the packet; its length follows.
        shift = 0;
        length = 0;
        continue;
      }
      length += (byte & 0x7f) * 2 ** shift;
      shift += 7;
      const more = (byte & 0x80) !== 0;
      if (length > maxBytes || (more && shift >= 28)) {
        ended = true;
        tooLarge();
      } else if (!more) {
        rest = length;
        shift = -1;
      }
    }
  };
}
