import { CRC16_INIT, CRC16_POLY } from '../protocol/link-table.js';

/** CRC of one byte, and of one byte with a 0 after it: with both, two bytes take one dependent step. */
const ONE = new Uint16Array(256);
const TWO = new Uint16Array(256);
for (let byte = 0; byte < 256; byte++) {
  let crc = byte << 8;
  for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? (crc << 1) ^ CRC16_POLY : crc << 1;
  ONE[byte] = crc;
}
for (let byte = 0; byte < 256; byte++) TWO[byte] = ONE[ONE[byte] >> 8] ^ ((ONE[byte] & 0xff) << 8);

/** CRC-16 of bytes[start, end): poly 0x1021, init 0xFFFF, not reflected, no final XOR. */
export function crc16(bytes: Uint8Array, start = 0, end = bytes.length): number {
  let crc = CRC16_INIT;
  let i = start;
  for (const pairsEnd = end - 1; i < pairsEnd; i += 2)
    crc = TWO[(crc >> 8) ^ bytes[i]] ^ ONE[(crc & 0xff) ^ bytes[i + 1]];
  if (i < end) crc = ONE[(crc >> 8) ^ bytes[i]] ^ ((crc & 0xff) << 8);
  return crc;
}
