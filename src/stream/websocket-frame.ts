/**
 * Unmasked, unfragmented frames from the server (RFC 6455, 5.2): one buffer serves every reader of a message, and each
 * costs a single write.
 */

export const OPCODE_TEXT = 1;
export const OPCODE_BINARY = 2;
/** Bytes before a payload of 126 to 65535 bytes. */
export const MEDIUM_HEADER = 4;

/** Writes the header of a payload of 126 to 65535 bytes that starts at MEDIUM_HEADER. */
export function writeMediumHeader(target: Uint8Array, opcode: number, payloadBytes: number): void {
  target[0] = 0x80 | opcode;
  target[1] = 126;
  target[2] = payloadBytes >>> 8;
  target[3] = payloadBytes & 0xff;
}

/** A text message as a whole frame. */
export function frameText(text: string): Buffer {
  const payloadBytes = Buffer.byteLength(text);
  const headerBytes = payloadBytes < 126 ? 2 : payloadBytes < 65_536 ? MEDIUM_HEADER : 10;
  const frame = Buffer.allocUnsafe(headerBytes + payloadBytes);
  if (headerBytes === MEDIUM_HEADER) writeMediumHeader(frame, OPCODE_TEXT, payloadBytes);
  else {
    frame[0] = 0x80 | OPCODE_TEXT;
    frame[1] = headerBytes === 2 ? payloadBytes : 127;
    if (headerBytes === 10) frame.writeBigUInt64BE(BigInt(payloadBytes), 2);
  }
  frame.write(text, headerBytes);
  return frame;
}

/** A control frame; its payload has 125 bytes at most. */
export function frameControl(opcode: number, payload: Uint8Array): Buffer {
  const frame = Buffer.allocUnsafe(2 + payload.length);
  frame[0] = 0x80 | opcode;
  frame[1] = payload.length;
  frame.set(payload, 2);
  return frame;
}
