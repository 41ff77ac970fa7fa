import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createServiceClock } from '../../src/client/service-clock.js';

describe('the clock of the service as an app sees it', () => {
  it('is unknown until the first answer', () => {
    const clock = createServiceClock();
    expect(clock.serviceTimeUs(5)).toBeUndefined();
    clock.add(10, 12, 1_000_000);
    expect(clock.serviceTimeUs(11)).toBe(1_000_000);
    expect(clock.errorUs).toBe(1000);
    clock.reset();
    expect(clock.serviceTimeUs(5)).toBeUndefined();
  });

  it('keeps within its stated error, whatever the delays on the way, and follows drift', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -1e9, max: 1e9, noNaN: true }),
        fc.double({ min: -14, max: 14, noNaN: true }),
        fc.array(
          fc.tuple(
            fc.double({ min: 0.01, max: 30, noNaN: true }),
            fc.double({ min: 0.01, max: 30, noNaN: true }),
          ),
          {
            minLength: 1,
            maxLength: 40,
          },
        ),
        (offsetUs, driftPpm, delays) => {
          const clock = createServiceClock();
          const truth = (ms: number) => ms * 1000 * (1 + driftPpm / 1e6) + offsetUs;
          let ms = 1000;
          for (const [there, back] of delays) {
            clock.add(ms, ms + there + back, truth(ms + there));
            ms += there + back;
            const error = Math.abs(clock.serviceTimeUs(ms)! - truth(ms));
            expect(error).toBeLessThanOrEqual(2 * clock.errorUs + 1);
            ms += 2000;
          }
        },
      ),
      { numRuns: 100 },
    );
  });

  it('believes the quickest answer, not the last', () => {
    const clock = createServiceClock();
    clock.add(0, 1, 500);
    clock.add(100, 140, 102_000);
    expect(clock.serviceTimeUs(140)).toBeCloseTo(140_000, -1);
  });

  it('never runs backwards while it follows drift', () => {
    const clock = createServiceClock();
    let last = Number.NEGATIVE_INFINITY;
    for (let ms = 0; ms < 60_000; ms += 100) {
      if (ms % 2000 === 0) clock.add(ms - 0.4, ms, (ms - 0.2) * 1000 * (1 - 12e-6));
      const now = clock.serviceTimeUs(ms)!;
      expect(now).toBeGreaterThan(last);
      last = now;
    }
  });

  it('follows at once when the machine slept or the service is another', () => {
    const clock = createServiceClock();
    for (let i = 0; i < 8; i++) clock.add(i * 2000, i * 2000 + 1, i * 2_000_000 + 500);
    clock.add(20_000, 20_001, 90_000_500);
    expect(clock.serviceTimeUs(20_001)).toBe(90_001_000);
  });
});
