import { describe, expect, it } from 'vitest';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { limitNames } from '../../src/resistance/limits.js';
import { Resistance } from '../../src/resistance/resistance.js';
import type { Send } from '../../src/resistance/send-schedule.js';
import { all, FIVE_SERVOS, SAFETY, servo } from './profiles.js';

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

  it('gives the request its default life and ends it by itself', () => {
    const bench = armed();
    bench.hold();
    bench.run(60);
    expect(bench.resistance.status.held[1]).toBe(1);
    bench.run(4);
    expect([bench.resistance.status.held[1], bench.limits]).toEqual([0, []]);
    const reasons: string[] = [];
    bench.resistance.drainEvents((_timeUs, finger, reason) => finger === 1 && reasons.push(reason));
    expect(reasons).toContain('expired');
  });

  it('loses the requests of an app that goes, at once, and of one layer only', () => {
    const bench = armed();
    bench.hold('gone', 0.4);
    bench.hold('stays', 0.6);
    bench.run(30);
    expect(bench.resistance.status.apps[1]).toBe('gone');
    bench.resistance.drop('gone');
    bench.run(1);
    expect([bench.resistance.status.apps[1], bench.resistance.status.stops[1]]).toEqual(['stays', 0.6]);
    bench.resistance.requestFingers(
      'stays',
      { index: { stopAt: 0.45, effort: 1 } },
      900,
      bench.nowUs,
      'second',
    );
    bench.run(20);
    expect(bench.resistance.status.stops[1]).toBe(0.45);
    bench.resistance.drop('stays', 'second');
    bench.run(1);
    expect(bench.resistance.status.stops[1]).toBe(0.6);
  });

  it('forgets every request on disarm: arming again gives no force by itself', () => {
    const bench = armed();
    bench.resistance.requestFingers('a', { index: { stopAt: 0.5, effort: 1 } }, 1000, bench.nowUs);
    bench.run(30);
    expect(bench.resistance.disarm(bench.nowUs, 'wearer')).toBe('release');
    expect([...bench.resistance.commands.efforts]).toEqual(all(0));
    expect([...bench.resistance.commands.stops]).toEqual(all(STOP_FREE));
    expect(bench.resistance.status.reason).toBe('wearer');
    expect(bench.resistance.arm(bench.nowUs, 'wearer')).toBe(false);
    bench.run(70);
    expect(bench.resistance.arm(bench.nowUs, 'wearer')).toBe(true);
    bench.run(20);
    expect(bench.resistance.status.held[1]).toBe(0);
  });

  it('refuses numbers that are none, and too many layers', () => {
    const { resistance, nowUs } = armed();
    const index = (stopAt: number, effort: number) =>
      resistance.requestFingers('a', { index: { stopAt, effort } }, 100, nowUs)?.code;
    expect(index(Number.NaN, 1)).toBe('badMessage');
    expect(index(0.5, Number.POSITIVE_INFINITY)).toBe('badMessage');
    expect(index(0.5, 1)).toBeUndefined();
    let refused = 0;
    for (let n = 0; n < 20; n++) {
      const refusal = resistance.requestFingers(
        'b',
        { index: { stopAt: 1, effort: 1 } },
        100,
        nowUs,
        `layer ${n}`,
      );
      if (refusal?.code === 'tooMany') refused++;
    }
    expect(refused).toBe(12);
  });
});

describe('what is sent', () => {
  it('is sent at once when asked for, then on change, then every 50 ms', () => {
    const bench = armed();
    bench.run(2);
    bench.hold();
    bench.run(1);
    expect(bench.sends.map(({ send }) => send)).toEqual(['resist']);
    bench.run(25);
    bench.sends.length = 0;
    for (let n = 0; n < 10; n++) {
      bench.hold();
      bench.run(25);
    }
    const gaps = bench.sends.slice(1).map(({ timeUs }, at) => timeUs - bench.sends[at].timeUs);
    expect(bench.sends.every(({ send }) => send === 'resist')).toBe(true);
    expect(new Set(gaps)).toEqual(new Set([52_000]));
  });

  it('is sent no more often than permitted, however much it changes', () => {
    const bench = new Bench(new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS, maxSendHz: 50 }));
    bench.run(1);
    bench.resistance.arm(bench.nowUs, 'wearer');
    bench.sends.length = 0;
    let n = 0;
    bench.run(250, () => bench.hold('a', 0.5 + 0.2 * (n++ % 2)));
    // One second: 50 towards the finger, and each away from it again.
    expect(bench.sends.length).toBeGreaterThan(45);
    expect(bench.sends.length).toBeLessThanOrEqual(102);
  });

  it.each([
    [0, 1],
    [1, 0],
  ])(
    'is sent at once where it moves away from the finger (open at wire stop %i)',
    (stopAtOpen, stopAtClosed) => {
      const actuators = FIVE_SERVOS.map((one) => ({ ...one, stopAtOpen, stopAtClosed }));
      const bench = new Bench(new Resistance({ safety: SAFETY, actuators, maxSendHz: 50 }));
      bench.run(1);
      bench.resistance.arm(bench.nowUs, 'wearer');
      bench.run(50, () => bench.hold('a', 0.5));
      const gaps = (stops: (n: number) => number) => {
        bench.sends.length = 0;
        for (let n = 0; n < 10; n++) {
          bench.hold('a', stops(n));
          bench.run(1);
        }
        return bench.sends.length;
      };
      // 40 ms of steps of 4 ms.
      expect(gaps((n) => 0.5 + 0.01 * n)).toBeGreaterThanOrEqual(9);
      expect(gaps((n) => 0.6 - 0.01 * n)).toBeLessThanOrEqual(4);
    },
  );

  it('frees without waiting, with one release, and then is silent', () => {
    const bench = armed();
    bench.run(30, () => bench.hold());
    bench.sends.length = 0;
    bench.resistance.drop('a');
    bench.run(1);
    expect(bench.sends.map(({ send }) => send)).toEqual(['release']);
    bench.run(100);
    expect(bench.sends).toHaveLength(1);
  });

  it('frees one of two fingers without waiting', () => {
    const bench = armed();
    const both = { index: { stopAt: 0.5, effort: 1 }, ring: { stopAt: 0.5, effort: 1 } };
    bench.run(20, () => bench.resistance.requestFingers('a', both, 250, bench.nowUs));
    bench.sends.length = 0;
    bench.hold();
    bench.run(1);
    expect(bench.sends.map(({ send }) => send)).toEqual(['resist']);
    expect(bench.resistance.commands.stops[3]).toBe(STOP_FREE);
  });

  it('is a release when the link comes back', () => {
    const bench = armed();
    bench.run(20, () => bench.hold());
    bench.live = false;
    bench.run(70);
    expect(bench.limits).toEqual([]);
    bench.sends.length = 0;
    bench.live = true;
    bench.run(5);
    expect(bench.sends.map(({ send }) => send)).toEqual(['release']);
  });

  it('is sent again when the link did not take it', () => {
    const bench = armed();
    bench.run(20, () => bench.hold());
    bench.resistance.drop('a');
    bench.sends.length = 0;
    bench.run(1);
    bench.resistance.unsent();
    bench.run(2);
    expect(bench.sends.map(({ send }) => send)).toEqual(['release', 'release']);
  });

  it('goes with silence: no samples for staleMs, and everything is free', () => {
    const bench = armed();
    bench.run(20, () => bench.hold());
    bench.sends.length = 0;
    bench.silentUs = 101_000;
    bench.run(1, () => bench.hold());
    expect([bench.sends.map(({ send }) => send), bench.limits]).toEqual([['release'], ['stale']]);
  });

  it('lets no request outlive a clock that goes back', () => {
    const bench = armed();
    bench.run(20, () => bench.hold());
    bench.nowUs -= 500_000;
    bench.run(100);
    expect(bench.resistance.status.held[1]).toBe(0);
  });
});

describe('the status', () => {
  it('has a new revision on change only', () => {
    const bench = armed();
    bench.run(60, () => bench.hold());
    const { revision } = bench.resistance.status;
    bench.run(50, () => bench.hold());
    expect(bench.resistance.status.revision).toBe(revision);
    bench.ok = [1, 0, 1, 1, 1];
    bench.run(1);
    expect(bench.resistance.status.revision).toBe(revision + 1);
    bench.resistance.disarm(bench.nowUs, 'wearer');
    expect(bench.resistance.status.revision).toBe(revision + 2);
  });
});

describe('pulses', () => {
  const motors = [servo('index'), servo('index', { kind: 'vibration', stallCurrentA: 0.1 }), servo('middle')];
  const withMotors = () => {
    const bench = new Bench(new Resistance({ safety: SAFETY, actuators: motors }));
    bench.run(1);
    bench.resistance.arm(bench.nowUs, 'wearer');
    return bench;
  };
  const pulse = (
    { resistance, nowUs }: Bench,
    finger?: 'index' | 'middle' | 'ring',
    amplitude = 1,
    ms = 50,
  ) => resistance.pulse(nowUs, finger, amplitude, ms);

  it('are refused while disarmed, without a link, and where nothing can pulse', () => {
    const bench = new Bench(new Resistance({ safety: SAFETY, actuators: motors }));
    bench.run(1);
    expect(pulse(bench, 'index')?.code).toBe('disarmed');
    bench.resistance.arm(bench.nowUs, 'wearer');
    expect(pulse(bench, 'ring')?.code).toBe('notSupported');
    bench.live = false;
    bench.run(1);
    expect(pulse(bench, 'index')?.code).toBe('notSupported');
  });

  it('go to the vibration motor where there is one', () => {
    const bench = withMotors();
    expect(pulse(bench, 'index', 0.5, 5000)).toBeUndefined();
    const { pulses } = bench.resistance;
    expect([
      pulses.count,
      pulses.actuators[0],
      pulses.amplitudes[0],
      pulses.durationsMs[0],
      pulses.frequencyHz,
    ]).toEqual([1, 1, 127, 1000, 150]);
  });

  it('knock with what holds a finger, at the cap and briefly', () => {
    const bench = withMotors();
    bench.run(30, () =>
      bench.resistance.requestFingers('a', { middle: { stopAt: 0.5, effort: 0.5 } }, 250, bench.nowUs),
    );
    expect(pulse(bench, 'middle', 7, 900)).toBeUndefined();
    const { pulses } = bench.resistance;
    expect([pulses.count, pulses.actuators[0], pulses.amplitudes[0], pulses.durationsMs[0]]).toEqual([
      1,
      2,
      Math.floor((255 * 8) / 15),
      150,
    ]);
  });

  it('are a stop just ahead of a free finger, for their length, which follows no finger', () => {
    const bench = withMotors();
    const { status } = bench.resistance;
    bench.curls = all(0.4);
    bench.run(50);
    expect(pulse(bench, 'middle', 0.5, 120)).toBeUndefined();
    expect(bench.resistance.pulses.count).toBe(0);
    let heldMs = 0;
    let nearest = 1;
    bench.run(60, () => {
      if (status.held[2] !== 1) return;
      heldMs += 4;
      nearest = Math.min(nearest, status.stops[2]);
    });
    expect(heldMs).toBeGreaterThan(110);
    expect(heldMs).toBeLessThanOrEqual(124);
    // Not behind the finger, and within what can be felt.
    expect(nearest).toBeGreaterThanOrEqual(0.42 - 1e-9);
    expect(nearest).toBeLessThan(0.45);
    expect(status.held[2]).toBe(0);
    // A finger that goes on closing runs into it, though the application goes on vibrating.
    bench.run(300);
    // Time for the servo to get there.
    for (let i = 0; i < 5; i++) {
      pulse(bench, 'middle', 1, 60);
      bench.run(10);
    }
    bench.curls = all(0.44);
    bench.run(2);
    pulse(bench, 'middle', 1, 60);
    bench.run(2);
    expect(status.stops[2]).toBeLessThan(0.44);
    // A stop of no length ends it.
    expect(pulse(bench, 'middle', 0, 0)).toBeUndefined();
    bench.run(1);
    expect(status.held[2]).toBe(0);
  });

  it('grip with a brake where the finger is, and never longer than a knock', () => {
    const actuators = [servo('index', { kind: 'brake' })];
    const bench = new Bench(new Resistance({ safety: SAFETY, actuators }));
    bench.run(1);
    bench.resistance.arm(bench.nowUs, 'wearer');
    bench.curls = all(0.5);
    bench.run(10);
    expect(pulse(bench, 'index', 1, 2000)).toBeUndefined();
    let grippedMs = 0;
    bench.run(100, () => {
      if (bench.resistance.commands.efforts[0] > 0) grippedMs += 4;
    });
    expect(grippedMs).toBeGreaterThan(60);
    expect(grippedMs).toBeLessThanOrEqual(154);
  });

  it('go with their app, and are stopped without a permission', () => {
    const bench = withMotors();
    bench.resistance.pulse(bench.nowUs, 'middle', 1, 150, 150, 'a');
    bench.run(5);
    expect(bench.resistance.status.apps[2]).toBe('a');
    bench.resistance.drop('a');
    bench.run(1);
    expect(bench.resistance.status.held[2]).toBe(0);
    expect(pulse(bench, 'index', 1, 800)).toBeUndefined();
    expect(bench.resistance.pulse(bench.nowUs, undefined, 0, 0)).toBeUndefined();
    const { pulses } = bench.resistance;
    expect([pulses.count, pulses.actuators[0], pulses.amplitudes[0], pulses.durationsMs[0]]).toEqual([
      1, 1, 0, 0,
    ]);
    bench.resistance.disarm(bench.nowUs, 'wearer');
    expect(bench.resistance.pulse(bench.nowUs, 'index', 0, 0)).toBeUndefined();
    expect(pulse(bench, 'index')?.code).toBe('disarmed');
  });

  it('do not knock with an actuator that a limit has faded', () => {
    const bench = armed();
    bench.run(25, () => bench.hold());
    expect(pulse(bench, 'index')).toBeUndefined();
    // Time for the servo to get there before the finger does.
    bench.run(100, () => bench.hold());
    bench.curls = all(0.51);
    bench.run(3000, () => bench.hold());
    expect(bench.limits).toEqual(['hold']);
    expect(pulse(bench, 'index')?.code).toBe('notSupported');
  });

  it('take at most half of the time', () => {
    const bench = withMotors();
    let pulsedMs = 0;
    bench.run(5000, () => {
      if (!pulse(bench, 'index', 1, 100)) pulsedMs += 100;
    });
    // 20 s: what was saved up, and then half of the time.
    expect(pulsedMs).toBeGreaterThan(10_000);
    expect(pulsedMs).toBeLessThanOrEqual(1000 + 20_000 / 2);
  });

  it('are no numbers that are none', () => {
    const bench = withMotors();
    expect(pulse(bench, 'index', Number.NaN)?.code).toBe('badMessage');
    expect(pulse(bench, 'index', 1, Number.POSITIVE_INFINITY)?.code).toBe('badMessage');
  });

  it('go on while a finger is freed, but not over a disarm', () => {
    const bench = withMotors();
    bench.run(30, () => bench.hold());
    pulse(bench, 'index', 1, 800);
    bench.sends.length = 0;
    bench.resistance.drop('a');
    bench.run(1);
    expect(bench.sends.map(({ send, effort }) => [send, effort])).toEqual([['resist', 0]]);
    expect(bench.resistance.disarm(bench.nowUs, 'wearer')).toBe('release');
  });
});
