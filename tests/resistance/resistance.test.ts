import { describe, expect, it } from 'vitest';
import { STOP_FREE } from '../../src/link/table.js';
import { limitNames } from '../../src/resistance/limits.js';
import { Resistance, type Send } from '../../src/resistance/resistance.js';
import { all, FIVE_SERVOS, SAFETY } from './profiles.js';

const STEP_US = 4000;
const OK = all(1);

/** A glove whose samples come every 4 ms, fingers where `curls` says. */
class Bench {
  nowUs = 1_000_000;
  curls = all(0.3);
  ok = OK;
  live = true;
  silentUs = 0;
  readonly sends: { timeUs: number; send: Send; stop: number; effort: number }[] = [];
  constructor(readonly resistance = new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS })) {}

  run(steps: number, before?: () => void): this {
    for (let n = 0; n < steps; n++) {
      this.nowUs += STEP_US;
      before?.();
      const { commands } = this.resistance;
      const send = this.resistance.step(
        this.nowUs,
        this.curls,
        this.ok,
        this.nowUs - this.silentUs,
        this.live,
      );
      if (send !== 'nothing') {
        this.sends.push({ timeUs: this.nowUs, send, stop: commands.stops[1], effort: commands.efforts[1] });
      }
    }
    return this;
  }

  hold(app = 'a', stopAt = 0.5, effort = 1): void {
    this.resistance.requestFingers(app, { index: { stopAt, effort } }, undefined, this.nowUs);
  }
  get limits() {
    return limitNames(this.resistance.status.limits[1]);
  }
}

const armed = () => {
  const bench = new Bench();
  bench.run(1);
  expect(bench.resistance.arm(bench.nowUs, 'wearer')).toBe(true);
  bench.sends.length = 0;
  return bench;
};

describe('a glove', () => {
  it('is disarmed at the start and says so to apps', () => {
    const bench = new Bench();
    expect(bench.resistance.requestFingers('a', { index: { stopAt: 0, effort: 1 } }, 500, 0)?.code).toBe(
      'disarmed',
    );
    bench.run(50);
    expect(bench.resistance.status.armed).toBe(false);
    expect(bench.resistance.status.efforts).toEqual(new Float64Array(5));
    // One release at the start, in case the glove still holds something.
    expect(bench.sends.map(({ send }) => send)).toEqual(['release']);
  });

  it('holds a finger at a stop, at the permitted tension and no more', () => {
    const bench = armed();
    bench.run(60, () => bench.hold());
    const { status, commands } = bench.resistance;
    expect(status.stops[1]).toBeCloseTo(0.5, 9);
    expect(status.efforts[1]).toBeCloseTo(1, 9);
    expect(status.tensionsN[1]).toBeCloseTo(8, 9);
    expect(status.apps).toEqual(['', 'a', '', '', '']);
    // 8 N of the servo's 15 N.
    expect(commands.efforts[1]).toBe(Math.floor((255 * 8) / 15));
    expect(commands.stops[1]).toBe(32767);
    expect([...commands.stops].filter((stop) => stop === STOP_FREE)).toHaveLength(4);
  });
});
