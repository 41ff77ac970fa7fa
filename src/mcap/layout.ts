import { McapConstants } from '@mcap/core';

/** How an MCAP file is laid out: MCAP specification, version 0. A record is an opcode, its length and its content. */
export const { Opcode } = McapConstants;
export const MAGIC = Uint8Array.of(0x89, 0x4d, 0x43, 0x41, 0x50, 0x30, 0x0d, 0x0a);
/** Opcode u8, length u64. */
export const RECORD_HEADER = 9;
export const FOOTER_BYTES = RECORD_HEADER + 20;
/** Chunk: start u64, end u64, size u64, crc u32, compression (u32 + text), length of the records u64. */
export const CHUNK_FIXED = 40;
export const MESSAGE_FIXED = 22;
/** Ours have a quarter of a megabyte. */
export const MAX_CHUNK_BYTES = 64 * 1024 * 1024;

/** A u64 as a number: exact for every length that a file can have. */
export const lengthAt = (bytes: Buffer, offset: number): number =>
  bytes.readUInt32LE(offset) + bytes.readUInt32LE(offset + 4) * 2 ** 32;

/** Reads fields one by one; beyond the end it gives zeros and fails. */
export function createCursor(bytes: Buffer) {
  let at = 0;
  let failed = false;
  const take = (length: number): number => {
    if (!(length >= 0 && at + length <= bytes.length)) failed = true;
    if (failed) return -1;
    const from = at;
    at += length;
    return from;
  };
  const number = (length: number, read: (from: number) => number): number => {
    const from = take(length);
    return from < 0 ? 0 : read(from);
  };
  const cursor = {
    get failed() {
      return failed;
    },
    get left() {
      return failed ? 0 : bytes.length - at;
    },
    u8: () => number(1, (from) => bytes[from]),
    u16: () => number(2, (from) => bytes.readUInt16LE(from)),
    u32: () => number(4, (from) => bytes.readUInt32LE(from)),
    u64: () => number(8, (from) => lengthAt(bytes, from)),
    bytes(length: number): Buffer {
      const from = take(length);
      return from < 0 ? bytes.subarray(0, 0) : bytes.subarray(from, from + length);
    },
    text: (): string => cursor.bytes(cursor.u32()).toString('utf8'),
  };
  return cursor;
}
