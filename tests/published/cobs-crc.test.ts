import { describe, expect, it } from 'vitest';
import { cobsDecode, cobsEncode } from '../../src/link/cobs.js';
import { crc16 } from '../../src/link/crc16.js';

const fromHex = (hex: string) => Uint8Array.from(hex.match(/../g) ?? [], (pair) => Number.parseInt(pair, 16));

/**
 * Greg Cook's catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740 (also known there as
 * CRC-16/AUTOSAR and CRC-16/CCITT-FALSE): width 16, poly 0x1021, init 0xFFFF, refin and refout false,
 * xorout 0, check (of the ASCII digits 123456789) 0x29B1, residue 0. From memory.
 */
describe('CRC-16/IBM-3740', () => {
  const digits = new TextEncoder().encode('123456789');

  it('gives the catalogued check value', () => {
    expect(crc16(digits)).toBe(0x29b1);
  });

  it('gives the catalogued residue over a message followed by its CRC, high byte first', () => {
    expect(crc16(Uint8Array.of(...digits, 0x29, 0xb1))).toBe(0);
  });
});

/**
 * Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
 * The first is the packet worked through in the paper (an IPv4 header's start, "45 00 00 2C 4C 79 00 00
 * 40 06 4F 37"); the paper's figure ends the packet in an implied zero, which adds nothing here. The rest
 * are the edge cases that its code table defines, as commonly tabulated. From memory.
 */
const COBS_EXAMPLES: [string, string][] = [
  ['4500002c4c79000040064f37', '02450104' + '2c4c79' + '01' + '05' + '40064f37'],
  ['', '01'],
  ['00', '0101'],
  ['0000', '010101'],
  ['001100', '01021101'],
  ['11220033', '0311220233'],
  ['11223344', '0511223344'],
  ['11000000', '0211010101'],
];
const run = (from: number, to: number) =>
  Array.from({ length: to - from + 1 }, (_, i) => (from + i).toString(16).padStart(2, '0')).join('');
COBS_EXAMPLES.push(
  [run(0x01, 0xfe), `ff${run(0x01, 0xfe)}`],
  [`00${run(0x01, 0xfe)}`, `01ff${run(0x01, 0xfe)}`],
  [run(0x01, 0xff), `ff${run(0x01, 0xfe)}02ff`],
  [`${run(0x02, 0xff)}00`, `ff${run(0x02, 0xff)}0101`],
  [`${run(0x03, 0xff)}0001`, `fe${run(0x03, 0xff)}0201`],
);

describe('COBS', () => {
  it.each(COBS_EXAMPLES)('%s <-> %s', (plain, encoded) => {
    const out = new Uint8Array(600);
    const length = cobsEncode(fromHex(plain), 0, plain.length / 2, out);
    expect(Buffer.from(out.subarray(0, length)).toString('hex')).toBe(encoded);
    const back = new Uint8Array(600);
    const backLength = cobsDecode(out, 0, length, back);
    expect(Buffer.from(back.subarray(0, backLength)).toString('hex')).toBe(plain);
  });
});
