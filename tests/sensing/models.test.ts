import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createClosingProfile } from '../../src/hand/closing.js';
import { closingAnglesOf, compileChannels } from '../../src/sensing/channels.js';
import { look } from '../../src/sensing/lookup.js';
import { centredModel, OVERSHOOT, rangeModel, softClamp } from '../../src/sensing/range-model.js';
import { createStringModel, excursionMm } from '../../src/sensing/string-model.js';
import { channel } from './glove-signals.js';

const closing = createClosingProfile();

describe('range model', () => {
  it('is 0 at open, 1 at closed, either way round, and straight beyond', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4095 }), fc.integer({ min: 0, max: 4095 }), (open, closed) => {
        fc.pre(open !== closed);
        const f = rangeModel('index.curl', open, closed);
        expect(f(open)).toBe(0);
        expect(f(closed)).toBe(1);
        expect(f(open - (closed - open))).toBeCloseTo(-1, 9);
        expect(f((open + closed) / 2)).toBeCloseTo(0.5, 12);
      }),
    );
  });

  it('with a curve: monotone, through its points, never beyond its neighbours', () => {
    const points = fc.uniqueArray(fc.integer({ min: 501, max: 3499 }), { minLength: 1, maxLength: 8 });
    fc.assert(
      fc.property(
        points,
        fc.infiniteStream(fc.double({ min: 0, max: 1, noNaN: true })),
        fc.boolean(),
        (xs, stream, flip) => {
          const sorted = [...xs].sort((a, b) => a - b);
          const ys = sorted.map(() => stream.next().value as number).sort((a, b) => a - b);
          const curve = sorted.map((x, i) => [flip ? 4000 - x : x, ys[i]] as [number, number]);
          const f = flip ? rangeModel('a', 3500, 500, curve) : rangeModel('a', 500, 3500, curve);
          const g = (x: number) => f(flip ? 4000 - x : x);
          const knots = [500, ...sorted, 3500];
          const values = [0, ...ys, 1];
          for (const [i, x] of knots.entries()) expect(g(x)).toBeCloseTo(values[i], 9);
          let last = g(400);
          let k = 0;
          for (let x = 401; x <= 3600; x += 7) {
            const y = g(x);
            expect(y).toBeGreaterThanOrEqual(last - 1e-12);
            while (k < knots.length - 2 && x > knots[k + 1]) k++;
            if (x >= 500 && x <= 3500) {
              expect(y).toBeGreaterThanOrEqual(values[k] - 1e-9);
              expect(y).toBeLessThanOrEqual(values[k + 1] + 1e-9);
            }
            last = y;
          }
        },
      ),
      { numRuns: 50 },
    );
  });

  it('refuses a curve that turns back, in words', () => {
    expect(() =>
      rangeModel('index.curl', 500, 3500, [
        [1000, 0.6],
        [2000, 0.4],
      ]),
    ).toThrow(/index\.curl.*rise/);
    expect(() => rangeModel('index.curl', 500, 3500, [[4000, 0.6]])).toThrow(/index\.curl/);
  });

  it('soft clamp: the value itself inside, a little more outside, smooth and monotone', () => {
    fc.assert(
      fc.property(fc.double({ min: -5, max: 6, noNaN: true }), (x) => {
        const y = softClamp(x);
        if (x >= 0 && x <= 1) expect(y).toBe(x);
        expect(y).toBeGreaterThanOrEqual(-OVERSHOOT);
        expect(y).toBeLessThanOrEqual(1 + OVERSHOOT);
        expect(softClamp(x + 1e-3)).toBeGreaterThanOrEqual(y);
      }),
    );
    expect((softClamp(1 + 1e-6) - 1) / 1e-6).toBeCloseTo(1, 3);
  });

  it('a stick is -1, 0 and 1 at its ends and centre, whichever way it is wired', () => {
    for (const [open, centre, closed] of [
      [100, 1900, 4000],
      [4000, 2100, 50],
    ]) {
      const f = centredModel(open, closed, centre);
      expect([f(open), f(centre), f(closed)].map((v) => v + 0)).toEqual([-1, 0, 1]);
    }
  });
});

describe('look-up', () => {
  const compile = (more: Parameters<typeof channel>[1]) =>
    compileChannels({ channels: [channel('index.curl', more)] }, ['index.curl'], closing)[0];

  it('gives what the model gives, for 8, 12 and 16 bits, at every kind of count', () => {
    for (const bits of [8, 10, 12, 14, 16]) {
      const max = 2 ** bits - 1;
      const c = compile({ bits, open: max * 0.1, closed: max * 0.9, curve: [[max * 0.4, 0.5]] });
      const f = rangeModel('index.curl', max * 0.1, max * 0.9, [[max * 0.4, 0.5]]);
      for (let counts = 0; counts <= max; counts += Math.ceil(max / 997)) {
        expect(Math.abs(look(c.lookup, counts) - softClamp(f(counts)))).toBeLessThan(3e-6);
      }
      expect(look(c.lookup, 65535)).toBe(look(c.lookup, max));
    }
  });

  it('turns round with `inverted`', () => {
    const plain = compile({});
    const turned = compile({ inverted: true });
    for (let counts = 0; counts < 4096; counts += 13) {
      expect(look(turned.lookup, counts)).toBeCloseTo(look(plain.lookup, Math.max(0, 4000 - counts)), 1);
    }
    expect(look(turned.lookup, 500)).toBeCloseTo(1, 6);
  });

  it('survives ends that are one', () => {
    expect(look(compile({ open: 700, closed: 700 }).lookup, 1234)).toBe(0);
  });
});

describe('string model', () => {
  const height = fc.double({ min: 0.5, max: 30, noNaN: true });
  const geometry = fc.record({
    spoolRadiusMm: fc.double({ min: 2, max: 50, noNaN: true }),
    electricalTravelDeg: fc.constant(270),
    heightsMm: fc.tuple(height, height, height),
  });

  it('inverts: curl -> travel -> curl, at every finger', () => {
    fc.assert(
      fc.property(
        geometry,
        fc.integer({ min: 0, max: 4 }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (g, finger, curl) => {
          const model = createStringModel(g, closingAnglesOf(closing, finger));
          expect(model.curlAt(model.travelMm(curl))).toBeCloseTo(curl, 9);
          expect(model.fractionAt(curl)).toBeCloseTo(model.travelMm(curl) / model.fullTravelMm, 12);
          expect(model.shaftAngle(curl) * g.spoolRadiusMm).toBeCloseTo(model.travelMm(curl), 9);
        },
      ),
    );
  });

  it('is exact: the travel is the sum of height x angle at the solved curl', () => {
    const angles = new Float64Array(3);
    const open = new Float64Array(3);
    fc.assert(
      fc.property(
        geometry,
        fc.integer({ min: 0, max: 4 }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (g, finger, part) => {
          const at = closingAnglesOf(closing, finger);
          const model = createStringModel(g, at);
          const travel = part * model.fullTravelMm;
          at(model.curlAt(travel), angles);
          at(0, open);
          expect(excursionMm(g.heightsMm, angles) - excursionMm(g.heightsMm, open)).toBeCloseTo(travel, 9);
        },
      ),
    );
  });

  it('is monotone, also beyond its ends', () => {
    fc.assert(
      fc.property(geometry, fc.integer({ min: 0, max: 4 }), (g, finger) => {
        const model = createStringModel(g, closingAnglesOf(closing, finger));
        let last = Number.NEGATIVE_INFINITY;
        for (let part = -0.3; part <= 1.3; part += 0.01) {
          const curl = model.curlAt(part * model.fullTravelMm);
          expect(curl).toBeGreaterThan(last);
          last = curl;
        }
      }),
      { numRuns: 30 },
    );
  });

  it('says so when the string cannot move', () => {
    expect(() =>
      createStringModel(
        { spoolRadiusMm: 8, electricalTravelDeg: 270, heightsMm: [0, 0, 0] },
        closingAnglesOf(closing, 1),
      ),
    ).toThrow(/heightsMm/);
  });

  it('as a channel: 0 at open, 1 at closed, either way round, bent in between by the heights', () => {
    const string = {
      spoolRadiusMm: 9,
      electricalTravelDeg: 300,
      heightsMm: [14, 4, 2] as [number, number, number],
    };
    for (const [open, closed] of [
      [600, 2400],
      [3000, 900],
    ]) {
      const c = compileChannels(
        { channels: [channel('index.curl', { open, closed, string })] },
        ['index.curl'],
        closing,
      )[0];
      expect(look(c.lookup, open)).toBeCloseTo(0, 6);
      expect(look(c.lookup, closed)).toBeCloseTo(1, 6);
      const half = c.string?.fractionAt(0.5) ?? 0;
      expect(half).not.toBeCloseTo(0.5, 3);
      expect(look(c.lookup, Math.round(open + half * (closed - open)))).toBeCloseTo(0.5, 2);
    }
  });
});
