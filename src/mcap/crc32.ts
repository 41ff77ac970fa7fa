import { crc32Final, crc32Update } from '@foxglove/crc';

/**
 * CRC-32 of ISO-HDLC, as in zip, gzip and PNG: check value 0xCBF43926 for the text "123456789". By the library that
 * comes with the container's: eight bytes at a time.
 * @param before CRC of what stands before these bytes
 */
export const crc32 = (bytes: Uint8Array, before = 0): number => crc32Final(crc32Update(~before >>> 0, bytes));
