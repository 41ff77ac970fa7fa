import fc from 'fast-check';
import { expect, it } from 'vitest';
import { crc16 } from '../../src/link/crc16.js';

/** Straight from the definition: one bit at a time. */
function bitwise(bytes: Uint8Array): number {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) crc = (crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1) & 0xffff;
  }
  return crc;
}

it('agrees with the definition over any range', () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 80 }), fc.nat(80), fc.nat(80), (bytes, a, b) => {
      const start = Math.min(a, b, bytes.length);
      const end = Math.min(Math.max(a, b), bytes.length);
      expect(crc16(bytes, start, end)).toBe(bitwise(bytes.subarray(start, end)));
    }),
  );
});
