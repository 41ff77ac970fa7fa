import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { cobsBound, cobsDecode, cobsEncode } from '../../src/link/cobs.js';

const sparse = fc.uint8Array({ maxLength: 700 }).map((bytes) => bytes.map((b) => (b < 40 ? 0 : b)));

describe('cobs', () => {
  it('gives back what went in, holds no zero and stays within its bound, at any offset', () => {
    fc.assert(
      fc.property(fc.oneof(sparse, fc.uint8Array({ min: 1, maxLength: 700 })), fc.nat(9), (bytes, offset) => {
        const src = new Uint8Array(bytes.length + offset + 3).fill(7);
        src.set(bytes, offset);
        const encoded = new Uint8Array(cobsBound(bytes.length) + offset);
        const length = cobsEncode(src, offset, offset + bytes.length, encoded, offset);
        expect(length).toBeGreaterThan(0);
        expect(length).toBeLessThanOrEqual(cobsBound(bytes.length));
        expect(encoded.subarray(offset, offset + length)).not.toContain(0);
        const decoded = new Uint8Array(bytes.length + offset);
        expect(cobsDecode(encoded, offset, offset + length, decoded, offset)).toBe(bytes.length);
        expect(decoded.subarray(offset)).toEqual(bytes);
      }),
    );
  });

  it('decodes in place', () => {
    fc.assert(
      fc.property(sparse, (bytes) => {
        const buffer = new Uint8Array(cobsBound(bytes.length));
        const length = cobsEncode(bytes, 0, bytes.length, buffer);
        const decoded = cobsDecode(buffer, 0, length, buffer);
        expect(buffer.subarray(0, decoded)).toEqual(bytes);
      }),
    );
  });

  it('refuses what does not fit and what is damaged, and never writes beyond the target', () => {
    expect(cobsEncode(Uint8Array.of(1, 2, 3), 0, 3, new Uint8Array(3))).toBe(-1);
    expect(cobsDecode(Uint8Array.of(4, 1, 2, 3), 0, 4, new Uint8Array(2))).toBe(-1);
    expect(cobsDecode(Uint8Array.of(5, 1, 2, 3), 0, 4, new Uint8Array(9))).toBe(-1);
    expect(cobsDecode(Uint8Array.of(3, 0, 2), 0, 3, new Uint8Array(9))).toBe(-1);
    expect(cobsDecode(Uint8Array.of(0), 0, 1, new Uint8Array(9))).toBe(-1);
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 60 }), fc.nat(60), (bytes, room) => {
        const target = new Uint8Array(room + 4).fill(0xaa);
        expect(cobsDecode(bytes, 0, bytes.length, target.subarray(0, room))).toBeLessThanOrEqual(room);
        expect([...target.subarray(room)]).toEqual([0xaa, 0xaa, 0xaa, 0xaa]);
      }),
    );
  });
});
