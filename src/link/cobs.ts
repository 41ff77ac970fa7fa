/**
 * Consistent Overhead Byte Stuffing (Cheshire & Baker, IEEE/ACM Transactions on Networking 7(2), 1999):
 * the encoded bytes hold no 0, so a 0 can end a frame. Without the paper's zero-pair variant. The ending 0
 * is the caller's.
 */

/** Longest encoding of `length` bytes. */
export const cobsBound = (length: number): number => length + Math.floor(length / 254) + 1;

/**
 * Encodes src[start, end) into dst from dstStart on; dst must be another array.
 * @returns bytes written, or -1 when dst is too short
 */
export function cobsEncode(
  src: Uint8Array,
  start: number,
  end: number,
  dst: Uint8Array,
  dstStart = 0,
): number {
  if (dst.length - dstStart < cobsBound(end - start)) return -1;
  let codeAt = dstStart;
  let out = dstStart + 1;
  for (let i = start; i < end; i++) {
    const byte = src[i];
    if (byte !== 0) dst[out++] = byte;
    if (byte === 0 || out - codeAt === 0xff) {
      dst[codeAt] = out - codeAt;
      // A full block implies no zero: at the end of the data nothing follows it.
      if (byte !== 0 && i + 1 === end) return out - dstStart;
      codeAt = out++;
    }
  }
  dst[codeAt] = out - codeAt;
  return out - dstStart;
}

/**
 * Decodes src[start, end), without the ending 0, into dst from dstStart on. dst may be src, with
 * dstStart <= start.
 * @returns bytes written, or -1 when the encoding is damaged or dst is too short
 */
export function cobsDecode(
  src: Uint8Array,
  start: number,
  end: number,
  dst: Uint8Array,
  dstStart = 0,
): number {
  // Decoding never lengthens, so one comparison bounds every write below.
  if (end - start - 1 > dst.length - dstStart) return -1;
  let out = dstStart;
  let i = start;
  while (i < end) {
    const code = src[i++];
    const blockEnd = i + code - 1;
    if (code === 0 || blockEnd > end) return -1;
    while (i < blockEnd) {
      const byte = src[i++];
      if (byte === 0) return -1;
      dst[out++] = byte;
    }
    if (code !== 0xff && i < end) dst[out++] = 0;
  }
  return out - dstStart;
}
