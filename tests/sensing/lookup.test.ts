import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createClosingProfile } from '../../src/hand/closing.js';
import { closingAnglesOf } from '../../src/sensing/channels.js';
import { compileLookup, look } from '../../src/sensing/lookup.js';
import { centredModel, rangeModel, softClamp } from '../../src/sensing/range-model.js';
import { createStringModel, DEFAULT_HEIGHTS_MM } from '../../src/sensing/string-model.js';

/** What the table may be off, an entry: a thousandth of a count of a whole curl, and what a Float32 rounds away. */
const NEAR = 2e-6;

function farthest(bits: number, f: (counts: number) => number): number {
  const lookup = compileLookup(bits, f);
  let most = 0;
  for (let i = 0; i < lookup.table.length; i++)
    most = Math.max(most, Math.abs(lookup.table[i] - f(i << lookup.shift)));
  return most;
}

const ends = fc.tuple(fc.nat(4095), fc.nat(4095)).filter(([a, b]) => Math.abs(a - b) > 40);

describe('a calibration as a table', () => {
  it('is what the calibration gives, entry by entry: straight, curved, of a string, with a middle', () => {
    const string = createStringModel(
      { spoolRadiusMm: 10, electricalTravelDeg: 300, heightsMm: DEFAULT_HEIGHTS_MM },
      closingAnglesOf(createClosingProfile(), 2),
    );
    fc.assert(
      fc.property(ends, fc.double({ min: 0.1, max: 0.9, noNaN: true }), ([open, closed], bend) => {
        const middle = Math.round((open + closed) / 2);
        const models = [
          rangeModel('index.curl', open, closed),
          rangeModel('index.curl', open, closed, [[middle, bend]]),
          (counts: number) => string.curlAt(((counts - open) / (closed - open)) * string.fullTravelMm),
        ];
        for (const f of models) expect(farthest(12, (counts) => softClamp(f(counts)))).toBeLessThan(NEAR);
        const stick = centredModel(open, closed, Math.round(open + bend * (closed - open)));
        // A kink between two entries is cut by what lies within one of them.
        const step = 1 / (Math.min(bend, 1 - bend) * Math.abs(closed - open));
        expect(farthest(12, (counts) => softClamp(stick(counts), -1, 1))).toBeLessThan(NEAR + step);
      }),
      { numRuns: 60 },
    );
  });

  it('is interpolated for wider converters, and has an entry for each count of narrower ones', () => {
    const f = (counts: number) => Math.sin(counts / 20_000);
    const wide = compileLookup(16, f);
    for (let counts = 0; counts < 65_536; counts += 97) expect(look(wide, counts)).toBeCloseTo(f(counts), 5);
    expect(compileLookup(6, (counts) => counts * counts).table).toEqual(
      Float32Array.from({ length: 65 }, (_, counts) => counts * counts),
    );
  });

  it('works a straight calibration out at a fraction of its counts', () => {
    let calls = 0;
    compileLookup(12, (counts) => {
      calls++;
      return counts / 4095;
    });
    expect(calls).toBeLessThan(4096 / 6);
  });
});
