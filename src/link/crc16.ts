import { CRC16_INIT, CRC16_POLY } from './table.js';

const TABLE = new Uint16Array(256);
for (let byte = 0; byte < 256; byte++) {
  let crc = byte << 8;
  for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? (crc << 1) ^ CRC16_POLY : crc << 1;
  TABLE[byte] = crc;
}

/** CRC-16 of bytes[start, end): poly 0x1021, init 0xFFFF, not reflected, no final XOR. */
export function crc16(bytes: Uint8Array, start = 0, end = bytes.length): number {
  let crc = CRC16_INIT;
  for (let i = start; i < end; i++) crc = TABLE[(crc >> 8) ^ bytes[i]] ^ ((crc & 0xff) << 8);
  return crc;
}
