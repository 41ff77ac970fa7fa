/** Frames as an app sends them (RFC 6455, 5.2), right ones and wrong ones. */
export interface ClientFrame {
  opcode: number;
  payload: Uint8Array;
  fin?: boolean;
  reserved?: number;
  masked?: boolean;
  mask?: readonly number[];
}

export function clientFrame({
  opcode,
  payload,
  fin = true,
  reserved = 0,
  masked = true,
  mask = [0x37, 0xfa, 0x21, 0x3d],
}: ClientFrame): Buffer {
  const { length } = payload;
  const header = Buffer.alloc(length < 126 ? 2 : length < 65_536 ? 4 : 10);
  header[0] = (fin ? 0x80 : 0) | (reserved << 4) | opcode;
  header[1] = (masked ? 0x80 : 0) | (length < 126 ? length : length < 65_536 ? 126 : 127);
  if (header.length === 4) header.writeUInt16BE(length, 2);
  if (header.length === 10) header.writeBigUInt64BE(BigInt(length), 2);
  if (!masked) return Buffer.concat([header, payload]);
  return Buffer.concat([header, Buffer.from(mask), payload.map((byte, i) => byte ^ mask[i & 3])]);
}

export const text = (said: string, more: Partial<ClientFrame> = {}): Buffer =>
  clientFrame({ opcode: 1, payload: Buffer.from(said), ...more });
