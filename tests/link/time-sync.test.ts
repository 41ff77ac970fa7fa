import { describe, expect, it } from 'vitest';
import { createClock } from '../../src/link/time-sync.js';
import { type Path, travel } from './time-sync-paths.js';

const quantile = (sorted: number[], part: number): number => sorted[Math.floor(sorted.length * part)];

/** p99 of the error of mapped times over several seeds, ms, from `settleS` on; time must increase throughout. */
function p99Ms(path: Omit<Path, 'seed' | 'seconds'>, settleS = 5): number {
  const errors: number[] = [];
  for (let seed = 1; seed <= 5; seed++) {
    const clock = createClock();
    const run: number[] = [];
    let leastUs = Number.POSITIVE_INFINITY;
    let last = Number.NEGATIVE_INFINITY;
    for (const { raw, arrivalUs, truthUs } of travel({ ...path, seed, seconds: settleS + 15 })) {
      const mapped = clock.map(raw, arrivalUs);
      if (!(mapped > last)) expect.unreachable(`${mapped} after ${last}`);
      last = mapped;
      leastUs = Math.min(leastUs, arrivalUs - truthUs);
      if (truthUs > 1e6 + settleS * 1e6) run.push(mapped - truthUs);
    }
    for (const error of run) errors.push(Math.abs(error - leastUs) / 1000);
  }
  return quantile(
    errors.sort((a, b) => a - b),
    0.99,
  );
}

const DRIFTS = [-200, 0, 200];
const RATES = [97, 247, 499, 997];

describe('clock', () => {
  it.each(DRIFTS)('keeps within 1 ms through bursts of 16 ms, 5 s after the start, at %i ppm', (driftPpm) => {
    for (const rateHz of RATES) expect(p99Ms({ rateHz, driftPpm, batchMs: 16 })).toBeLessThan(1);
  });

  it.each(DRIFTS)(
    'keeps within 1 ms through a radio that resends, for 30 ms, and loses 2 %%, at %i ppm',
    (driftPpm) => {
      for (const rateHz of RATES) {
        expect(p99Ms({ rateHz, driftPpm, packetMs: 7.5, resent: 0.3, loss: 0.02 })).toBeLessThan(1);
      }
    },
  );

  it('keeps near through delays of anything up to 30 ms', () => {
    for (const driftPpm of DRIFTS) {
      expect(p99Ms({ rateHz: 100, driftPpm, jitterMs: 30, loss: 0.02 })).toBeLessThan(1.5);
      expect(p99Ms({ rateHz: 100, driftPpm, jitterMs: 30, loss: 0.02 }, 20)).toBeLessThan(1);
    }
  });

  it('tells drift from phase once the bursts have walked over a sample, when one divides the other', () => {
    // 2 ms of common measure at 100 Hz, 200 ppm: 10 s.
    for (const driftPpm of DRIFTS) expect(p99Ms({ rateHz: 100, driftPpm, batchMs: 16 }, 20)).toBeLessThan(1);
  });

  it('finds the drift of a crystal and of a resonator', () => {
    for (const driftPpm of [-5000, -150, 0, 40, 3000]) {
      const clock = createClock();
      for (const { raw, arrivalUs } of travel({ rateHz: 487, seconds: 30, driftPpm, batchMs: 16 }))
        clock.map(raw, arrivalUs);
      expect(Math.abs(clock.status.driftPpm - driftPpm)).toBeLessThan(20);
      expect(clock.status.resets).toBe(0);
    }
  });

  it('passes over the wrap of 32 bits unnoticed', () => {
    const path: Path = { rateHz: 250, seconds: 10, driftPpm: 30 };
    const plain = createClock();
    const wrapping = createClock();
    const expected = [...travel(path)].map(({ raw, arrivalUs }) => plain.map(raw, arrivalUs));
    const got = [...travel({ ...path, startRaw: 2 ** 32 - 5e6 })].map(({ raw, arrivalUs }) =>
      wrapping.map(raw, arrivalUs),
    );
    expect(Math.max(...got.map((time, i) => Math.abs(time - expected[i])))).toBeLessThan(0.01);
    expect(wrapping.status.resets).toBe(0);
  });

  it.each([
    ['late in its life', 4_000_000_000],
    ['soon after its start', 400_000],
  ])('takes up a device that restarts %s', (_, startRaw) => {
    const clock = createClock();
    let last = 0;
    for (const { raw, arrivalUs } of travel({ rateHz: 200, seconds: 6, startRaw, batchMs: 16 }))
      last = clock.map(raw, arrivalUs);
    let worstMs = 0;
    for (const { raw, arrivalUs, truthUs } of travel({ rateHz: 200, seconds: 3, startUs: 7.5e6 })) {
      const mapped = clock.map(raw, arrivalUs);
      expect(mapped).toBeGreaterThan(last);
      last = mapped;
      worstMs = Math.max(worstMs, Math.abs(mapped - truthUs - 800) / 1000);
    }
    expect(clock.status.resets).toBe(1);
    expect(worstMs).toBeLessThan(1);
  });

  it('learns from a pong that the device stood still for a while', () => {
    const clock = createClock();
    for (const { raw, arrivalUs } of travel({ rateHz: 200, seconds: 6 })) clock.map(raw, arrivalUs);
    // Asleep for 0.3 s: all samples now seem to be late, which a congested way could also cause...
    const asleepUs = 300_000;
    const after = [...travel({ rateHz: 200, seconds: 2, startRaw: 6e6, startUs: 7e6 + asleepUs })];
    for (const { raw, arrivalUs } of after.slice(0, 100)) clock.map(raw, arrivalUs);
    expect(clock.status.resets).toBe(0);
    // ... but the device cannot have stamped a ping before it was sent.
    const { raw, truthUs } = after[100];
    clock.pong(truthUs - 900, raw, truthUs + 900);
    expect(clock.status.resets).toBe(1);
    for (const sample of after.slice(100)) {
      expect(clock.map(sample.raw, sample.arrivalUs)).toBeCloseTo(sample.truthUs + 800, 0);
    }
  });

  it('is not led astray by a read that was put off', () => {
    const clock = createClock();
    const all = [...travel({ rateHz: 500, seconds: 10, driftPpm: 20 })];
    for (const { raw, arrivalUs, truthUs } of all) {
      // The process stood still from 6 s to 8 s; then everything came at once.
      const late = arrivalUs > 6e6 && arrivalUs < 8e6 ? 8e6 : arrivalUs;
      const mapped = clock.map(raw, late);
      if (truthUs > 4e6) expect(Math.abs(mapped - truthUs - 800)).toBeLessThan(500);
    }
    expect(clock.status.resets).toBe(0);
  });

  it('goes on after a reconnection if the device ran on, and starts anew if not', () => {
    const before = [...travel({ rateHz: 250, seconds: 12, driftPpm: 100, batchMs: 16 })];
    const later = { rateHz: 250, seconds: 2, batchMs: 16, startUs: 15e6 };
    for (const startRaw of [14e6 - 1400, 0]) {
      const clock = createClock();
      let last = 0;
      for (const { raw, arrivalUs } of before) last = clock.map(raw, arrivalUs);
      clock.restart();
      const errors: number[] = [];
      for (const { raw, arrivalUs, truthUs } of travel({ ...later, startRaw })) {
        const mapped = clock.map(raw, arrivalUs);
        expect(mapped).toBeGreaterThan(last);
        last = mapped;
        errors.push(Math.abs(mapped - truthUs));
      }
      if (startRaw > 0) expect(errors[0]).toBeLessThan(6000);
      expect(errors.at(-1)).toBeLessThan(6000);
      expect(clock.status.resets).toBe(0);
    }
  });

  it('increases even if the device sends one time twice, or the line comes down', () => {
    const clock = createClock();
    const times = [
      clock.map(0, 30_000),
      clock.map(1000, 30_000),
      clock.map(1000, 30_000),
      clock.map(2000, 30_000),
      clock.map(3000, 10_000),
      clock.map(4000, 11_000),
    ];
    for (let i = 1; i < times.length; i++) expect(times[i]).toBeGreaterThan(times[i - 1]);
  });

  it('notices bursts, and that they have ended', () => {
    for (const rateHz of [100, 250, 1000]) {
      const clock = createClock();
      const bursts = [...travel({ rateHz, seconds: 10, batchMs: 16 })];
      for (const { raw, arrivalUs } of bursts) clock.map(raw, arrivalUs);
      expect(Math.abs(clock.status.batchMs - 16)).toBeLessThan(2);
      const { raw: startRaw } = bursts[bursts.length - 1];
      for (const { raw, arrivalUs } of travel({ rateHz, seconds: 6, startRaw, startUs: 11e6 }))
        clock.map(raw, arrivalUs);
      expect(clock.status.batchMs).toBe(0);
    }
  });
});
