import { describe, expect, it } from 'vitest';
import type { DeviceState, Hello, Pong } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { createSimulatedGlove, SIMULATED_CHANNELS } from '../../src/link/simulated-glove.js';
import { MOTION_CYCLE_S, moveHand, newHandPose } from '../../src/link/simulated-motion.js';
import { simulatedPort } from '../../src/link/simulated-port.js';
import { STOP_FREE, STOP_MAX } from '../../src/protocol/link-table.js';
import { FakeClock } from './fake-clock.js';

const START_US = 5_000_000;

/** A simulated glove with the real decoder at its other end. */
function wornGlove({ sampleRateHz = 500, seed = 1 } = {}) {
  const glove = createSimulatedGlove({ hand: 'right', sampleRateHz, seed, startUs: START_US });
  const heard = {
    hellos: [] as Hello[],
    states: [] as DeviceState[],
    pongs: [] as Pong[],
    times: [] as number[],
    curls: [] as number[][],
    buttons: new Set<number>(),
  };
  const codec = createFrameCodec({
    hello: (hello) => heard.hellos.push(hello),
    samples: ({ deviceTimeUs, channels, buttons }) => {
      heard.times.push(deviceTimeUs);
      heard.buttons.add(buttons);
      heard.curls.push(
        Array.from({ length: 5 }, (_, i) => {
          const { open, closed } = SIMULATED_CHANNELS[i];
          return (channels[i] - open) / (closed - open);
        }),
      );
    },
    state: (state) => heard.states.push(state),
    pong: (pong) => heard.pongs.push(pong),
    note: () => {},
  });
  let nowUs = START_US;
  const step = (ms: number, tickMs = ms) => {
    const endUs = nowUs + ms * 1000;
    while (nowUs < endUs) {
      nowUs = Math.min(endUs, nowUs + tickMs * 1000);
      glove.step(nowUs, codec.push);
    }
  };
  const tell = (bytes: Uint8Array) => glove.receive(bytes, nowUs);
  const resist = (curl: number, effort: number, validForMs = 250, fingers = 5) => {
    const stop = curl === Number.POSITIVE_INFINITY ? STOP_FREE : Math.round(curl * STOP_MAX);
    tell(
      codec.resist(
        validForMs,
        new Uint16Array(5).fill(STOP_FREE).fill(stop, 0, fingers),
        new Uint8Array(5).fill(effort),
        5,
      ),
    );
  };
  return { glove, codec, heard, step, tell, resist };
}

describe('simulated glove', () => {
  it('says hello, then samples on its exact schedule, and its state every second', () => {
    for (const sampleRateHz of [10, 333, 500, 1000]) {
      const { codec, heard, step } = wornGlove({ sampleRateHz });
      step(10_000, 3.7);
      expect(heard.hellos).toHaveLength(1);
      expect(heard.hellos[0]).toMatchObject({ protocol: 1, hand: 'right', sampleRateHz });
      expect(heard.hellos[0].channels.map(({ role }) => role)).toEqual(
        SIMULATED_CHANNELS.map(({ role }) => role),
      );
      expect(heard.times).toEqual(
        Array.from({ length: 10 * sampleRateHz + 1 }, (_, i) => Math.round((i * 1e6) / sampleRateHz)),
      );
      expect(heard.states).toHaveLength(11);
      expect(codec.counters).toMatchObject({ lost: 0, badCrc: 0, malformed: 0, unknownType: 0 });
    }
  });

  it('sends the same bytes for the same seed whatever the ticks, and others for another seed', () => {
    const record = (seed: number, ticks: number[]) => {
      const glove = createSimulatedGlove({ hand: 'left', sampleRateHz: 500, seed, startUs: 0 });
      const chunks: Buffer[] = [];
      for (const us of ticks) glove.step(us, (frame) => chunks.push(Buffer.from(frame)));
      return Buffer.concat(chunks).toString('hex');
    };
    const every = (ms: number) => Array.from({ length: 3000 / ms }, (_, i) => (i + 1) * ms * 1000);
    expect(record(7, every(1))).toBe(record(7, every(50)));
    expect(record(7, every(50))).not.toBe(record(8, every(50)));
  });

  it('moves at human speed through open and closed hands, and presses its buttons', () => {
    const { heard, step } = wornGlove({ sampleRateHz: 1000 });
    step(MOTION_CYCLE_S * 1000);
    const index = heard.curls.map((curls) => curls[1]);
    expect(Math.min(...index)).toBeLessThan(0.06);
    expect(Math.max(...index)).toBeGreaterThan(0.93);
    expect([...heard.buttons].sort()).toEqual([0, 1, 2, 4]);

    const before = newHandPose();
    const after = newHandPose();
    let fastest = 0;
    for (let t = 0; t < 3 * MOTION_CYCLE_S; t += 0.002) {
      moveHand(3, t, before);
      moveHand(3, t + 0.002, after);
      for (let finger = 0; finger < 5; finger++)
        fastest = Math.max(fastest, Math.abs(after.curls[finger] - before.curls[finger]) / 0.002);
    }
    // A minimum-jerk move peaks at 1.875 x its mean speed: 0.95 curl in 0.36 s gives 5 curl/s. A jump
    // between steps would be far above.
    expect(fastest).toBeGreaterThan(3);
    expect(fastest).toBeLessThan(6.5);
  });

  it('does not close beyond a stop, and does again once released', () => {
    const { glove, heard, codec, step, tell, resist } = wornGlove();
    const closing = () => {
      const from = heard.curls.length;
      for (let ms = 0; ms < MOTION_CYCLE_S * 1000; ms += 100) {
        resist(0.4, 255);
        step(100);
      }
      return heard.curls.slice(from);
    };
    resist(0.4, 255);
    step(400);
    resist(0.4, 255);
    const held = closing().flat();
    expect(Math.max(...held)).toBeLessThan(0.4 + 0.02);
    expect(Math.min(...held)).toBeLessThan(0.1);
    expect(heard.states.at(-1)!.positions).toEqual(Array(5).fill(Math.round(0.4 * STOP_MAX)));
    tell(codec.release());
    expect([...glove.stops]).toEqual(Array(5).fill(Number.POSITIVE_INFINITY));
    const from = heard.curls.length;
    step(MOTION_CYCLE_S * 1000);
    expect(Math.max(...heard.curls.slice(from).flat())).toBeGreaterThan(0.9);
  });

  it('follows the hand at the speed of fingers once let go, whenever that is', () => {
    const { heard, codec, step, tell, resist } = wornGlove();
    for (let n = 0; n < MOTION_CYCLE_S * 2; n++) {
      for (let ms = 0; ms < 400; ms += 100) {
        resist(0.2, 255);
        step(100);
      }
      tell(codec.release());
      step(100);
    }
    let fastest = 0;
    for (let at = 1; at < heard.curls.length; at++) {
      for (let finger = 0; finger < 5; finger++) {
        fastest = Math.max(fastest, (heard.curls[at][finger] - heard.curls[at - 1][finger]) * 500);
      }
    }
    // 8 curls a second, and the noise of two readings.
    expect(fastest).toBeGreaterThan(5);
    expect(fastest).toBeLessThan(8 + 500 * 0.01);
  });

  it('lets a finger go whose stop is free or whose effort is nought', () => {
    const { glove, step, resist } = wornGlove();
    resist(0.3, 255, 1000, 2);
    step(200, 2);
    expect([...glove.stops].map((stop) => stop < 1)).toEqual([true, true, false, false, false]);
    resist(0.3, 0, 1000);
    expect([...glove.stops]).toEqual(Array(5).fill(Number.POSITIVE_INFINITY));
  });

  it('moves a stop at the speed of a servo, never at once', () => {
    const { glove, step, resist } = wornGlove({ sampleRateHz: 1000 });
    resist(0.1, 255, 1000);
    step(50);
    expect(glove.stops[1]).toBeGreaterThan(0.6);
    step(150);
    expect(glove.stops[1]).toBeCloseTo(0.1, 4);
  });

  it('frees everything when a resist expires, and says so', () => {
    const { glove, codec, heard, step, tell, resist } = wornGlove();
    resist(0.3, 255, 60);
    for (let ms = 0; ms < 100; ms += 10) {
      step(10);
      tell(codec.ping(1));
      const held = glove.stops[0] !== Number.POSITIVE_INFINITY;
      expect(held).toBe(ms < 50);
    }
    expect(heard.states.at(-1)).toMatchObject({ watchdogTrips: 1, faults: ['watchdogRelease'] });
    tell(codec.release());
    step(10);
    expect(heard.states.at(-1)).toMatchObject({ watchdogTrips: 1, faults: [] });
  });

  it('frees everything when nothing valid has come for 250 ms, noise notwithstanding', () => {
    const { glove, heard, step, tell, resist } = wornGlove();
    resist(0.3, 255, 5000);
    for (let ms = 0; ms < 240; ms += 10) {
      tell(Uint8Array.of(1, 2, 3, 0));
      step(10);
    }
    expect(glove.stops[0]).toBeLessThan(1);
    step(20, 2);
    expect(glove.stops[0]).toBe(Number.POSITIVE_INFINITY);
    expect(heard.states.at(-1)).toMatchObject({ watchdogTrips: 1, faults: ['watchdogRelease'] });
  });

  it('answers hello and ping, and changes its rate', () => {
    const { codec, heard, step, tell } = wornGlove();
    step(100);
    tell(codec.askHello());
    tell(codec.ping(0xcafe));
    step(1);
    expect(heard.hellos).toHaveLength(2);
    expect(heard.pongs).toEqual([{ token: 0xcafe, deviceTimeUs: 101_000 }]);
    tell(codec.rate(100));
    step(1);
    const from = heard.times.length;
    step(1000, 7);
    expect(heard.hellos.at(-1)!.sampleRateHz).toBe(100);
    expect(heard.times.length - from).toBeGreaterThanOrEqual(99);
    expect(heard.times.length - from).toBeLessThanOrEqual(101);
  });

  it('drops what fell due while the host slept, keeps its grid and counts', () => {
    const { glove, heard, codec, step } = wornGlove();
    step(10);
    glove.skipTo(START_US + 60_001_000);
    glove.step(START_US + 61_010_000, codec.push);
    expect(heard.times[6]).toBe(60_002_000);
    expect(heard.states.at(-1)!.framesDropped).toBe((60_000 - 10) / 2);
  });
});

describe('simulated port', () => {
  it('keeps its rate however late its timers are, and leaves no timer after close', async () => {
    const clock = new FakeClock();
    let samples = 0;
    const codec = createFrameCodec({
      hello: () => {},
      samples: () => samples++,
      state: () => {},
      pong: () => {},
      note: () => {},
    });
    const lateClock = {
      nowUs: () => clock.nowUs(),
      after: (ms: number, run: () => void) => clock.after(Math.ceil(ms) + 1.3, run),
    };
    const open = simulatedPort({ hand: 'left', sampleRateHz: 1000, seed: 1, clock: lateClock });
    const port = await open({ bytes: (chunk) => codec.push(chunk), ended: () => {} });
    await clock.advance(2000);
    expect(samples).toBeGreaterThan(1995);
    expect(samples).toBeLessThanOrEqual(2001);
    await port.close();
    expect(clock.pending).toBe(0);
    expect(port.write(codec.askHello())).toBe(false);
  });

  it('answers after the write has returned', async () => {
    const clock = new FakeClock();
    const pongs: Pong[] = [];
    let inWrite = false;
    const codec = createFrameCodec({
      hello: () => {},
      samples: () => {},
      state: () => {},
      pong: (pong) => {
        expect(inWrite).toBe(false);
        pongs.push(pong);
      },
      note: () => {},
    });
    const open = simulatedPort({ hand: 'right', sampleRateHz: 10, seed: 1, clock });
    const port = await open({ bytes: (chunk) => codec.push(chunk), ended: () => {} });
    await clock.advance(50);
    inWrite = true;
    port.write(codec.ping(5));
    inWrite = false;
    await clock.advance(1);
    expect(pongs).toEqual([{ token: 5, deviceTimeUs: 50_000 }]);
    await port.close();
  });
});
