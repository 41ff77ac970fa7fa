import { afterEach, describe, expect, test } from 'vitest';
import { STOP_MAX } from '../../src/protocol/link-table.js';
import { type Body, type HostGlove, type Supply, startHostGlove } from './host-glove.js';
import { Host } from './host-port.js';

/*
 * The host glove's fingers, strings and servos, with time moved by hand: the same on every machine.
 * Expected values are worked by hand from the constants in finger_physics.h, servo_physics.h and supply.h.
 */

const FINGERS = ['thumb', 'index', 'middle', 'ring', 'little'];
const TRAVEL_M = 0.0427;
const SPOOL_M = 0.017;
const STALL_NM = 0.15;
const GEAR_FRICTION_NM = 0.015;
const STRING_N_PER_M = 5000;
const RATED_V = 4.8;
const OPEN_V = 5;
const SUPPLY_OHMS = 0.15;
const STALL_A = 0.7;
const IDLE_A = 0.006;

const cleanups: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup();
});

interface Bench {
  glove: HostGlove;
  host: Host;
  /** Holds the same stop on every finger for that long, renewed as a host does. */
  hold(stopAt: number, ms: number, effort?: number): Promise<void>;
  release(): Promise<void>;
  advance(ms: number): Promise<unknown>;
  index(): Promise<Body>;
  supply(): Promise<Supply>;
}

async function start(args: string[] = []): Promise<Bench> {
  const glove = await startHostGlove(['--physics', '--manual-time', '--noise', '0', ...args]);
  cleanups.push(() => glove.quit());
  const host = await Host.open(glove.pty);
  cleanups.push(() => host.close());
  const advance = (ms: number) => glove.command(`advance ${ms}`);
  return {
    glove,
    host,
    advance,
    async hold(stopAt, ms, effort = 255) {
      const stops = new Uint16Array(5).fill(Math.round(stopAt * STOP_MAX));
      for (let left = ms; left > 0; left -= 100) {
        await host.send(host.codec.resist(1000, stops, new Uint8Array(5).fill(effort), 5));
        await advance(Math.min(100, left));
      }
    },
    async release() {
      await host.send(host.codec.release());
    },
    index: () => glove.ask<Body>('body index'),
    supply: () => glove.ask<Supply>('supply'),
  };
}

describe('a free finger', () => {
  test('closes in the time that a hand takes, and no further', async () => {
    const { glove, advance, index } = await start();
    await glove.command('grasp 1');
    let fastest = 0;
    let closedMs = 0;
    for (let ms = 5; ms <= 600; ms += 5) {
      await advance(5);
      const { curl, velocity } = await index();
      fastest = Math.max(fastest, velocity);
      if (closedMs === 0 && curl > 0.98) closedMs = ms;
    }
    expect(closedMs).toBeGreaterThan(250);
    expect(closedMs).toBeLessThan(400);
    expect(fastest).toBeGreaterThan(4);
    expect(fastest).toBeLessThan(10);
    const { curl, peakCurl, peakTensionN } = await index();
    expect(curl).toBeCloseTo(1, 2);
    expect(peakCurl).toBeLessThan(1.02);
    expect(peakTensionN).toBe(0);
  });

  test('even told to be closed at once takes a tenth of a second', async () => {
    const { glove, advance, index } = await start();
    await glove.command('set index.curl 1');
    await advance(90);
    expect((await index()).curl).toBeLessThan(0.95);
    await advance(110);
    expect((await index()).curl).toBeGreaterThan(0.95);
  });

  test('moves the same way every time', async () => {
    const traces: string[] = [];
    for (let run = 0; run < 2; run++) {
      const { glove, hold } = await start();
      await hold(0.5, 300);
      await glove.command('grasp 0.8 7');
      await hold(0.5, 150);
      traces.push(await glove.command('bodies'));
    }
    expect(traces[1]).toBe(traces[0]);
  });
});

describe('a stop', () => {
  test.each([2, 4, 6, 8])('arrests a finger that closes at %i curl/s', async (speed) => {
    const { glove, hold, index } = await start();
    await hold(0.5, 400);
    const placed = await index();
    expect(placed.stopCurl).toBeCloseTo(0.5, 2);
    await glove.command(`intend index 0.9 ${speed}`);
    await hold(0.5, 600);
    const { curl, peakCurl, peakTensionN } = await index();
    // At rest: 5 N of muscle less retraction is no more than the spring of string and of servo can give.
    const stringM = 5 / STRING_N_PER_M;
    const servoM = (0.07 * (5 * SPOOL_M) * SPOOL_M) / STALL_NM;
    const deadBandM = 0.008 * SPOOL_M;
    expect((curl - 0.5) * TRAVEL_M).toBeLessThan(stringM + servoM + deadBandM);
    expect(curl).toBeGreaterThan(0.5);
    // On impact: the finger's energy (0.15 kg) goes into the same springs, on top of that.
    const speedM = speed * TRAVEL_M;
    const springs = 1 / (1 / STRING_N_PER_M + (0.07 * SPOOL_M ** 2) / STALL_NM);
    const impactM = Math.sqrt((0.15 * speedM ** 2) / springs);
    expect((peakCurl - 0.5) * TRAVEL_M).toBeLessThan(stringM + servoM + deadBandM + impactM);
    expect(peakTensionN).toBeGreaterThan(3);
  });

  test('gives way slowly to a finger that is stronger than the servo; the tension stays at its limit', async () => {
    const { glove, hold, index } = await start();
    await glove.command('strength 40');
    await hold(0.3, 500);
    await glove.command('ramp index.curl 1 4000');
    let most = 0;
    for (let i = 0; i < 50; i++) {
      await hold(0.3, 100);
      most = Math.max(most, (await index()).peakTensionN);
    }
    const limitN = (STALL_NM * (OPEN_V / RATED_V) + GEAR_FRICTION_NM) / SPOOL_M;
    expect(most).toBeLessThan(1.03 * limitN);
    expect(most).toBeGreaterThan(0.9 * limitN);
    // The muscles hold their aim of 1 like a spring of 3600 N/m.
    expect((await index()).curl).toBeGreaterThan(1 - (1.2 * limitN) / 3600 / TRAVEL_M);
  });

  test('heeds the effort only with a drive that can', async () => {
    const tensions: number[] = [];
    for (const drive of ['hobby', 'torque']) {
      const { glove, hold, index } = await start(['--drive', drive]);
      await glove.command('strength 40');
      await hold(0.3, 500, 64);
      await glove.command('ramp index.curl 0.9 2000');
      await hold(0.3, 3000, 64);
      tensions.push((await index()).tensionN);
    }
    const [hobbyN, torqueN] = tensions;
    expect(hobbyN).toBeGreaterThan((0.95 * STALL_NM) / SPOOL_M);
    // A quarter of the torque, and the friction of the gears.
    expect(torqueN).toBeLessThan(
      ((64 / 255) * STALL_NM * (OPEN_V / RATED_V) + GEAR_FRICTION_NM) / SPOOL_M + 0.1,
    );
  });

  test('lets go within 50 ms of a release, and also of silence after the watchdog', async () => {
    const { glove, hold, release, advance, index } = await start();
    await hold(0.5, 400);
    await glove.command('intend index 0.9 4');
    await hold(0.5, 600);
    const held = await index();
    expect(held.tensionN).toBeGreaterThan(3);
    await release();
    await advance(50);
    const freed = await index();
    expect(freed.free).toBe(true);
    expect(freed.yieldedUs).not.toBeNull();
    expect(freed.yieldedUs! - freed.writtenUs).toBeLessThanOrEqual(50_000);
    expect(freed.curl).toBeGreaterThan(held.curl + 0.02);
    await advance(300);
    expect(await index()).toMatchObject({ tensionN: 0 });
    expect((await index()).curl).toBeCloseTo(0.9, 2);

    await glove.command('intend index 0 4');
    await advance(500);
    await hold(0.5, 400);
    await advance(249 - 100);
    expect((await index()).free).toBe(false);
    await advance(3);
    expect((await index()).free).toBe(true);
  });

  test('out of reach is not felt', async () => {
    const { glove, hold, index } = await start();
    await hold(0.8, 400);
    await glove.command('intend index 0.75 6');
    await hold(0.8, 500);
    expect(await index()).toMatchObject({ tensionN: 0, peakTensionN: 0 });
  });

  test('slack in the string is felt as slack', async () => {
    const curls: number[] = [];
    for (const slackMm of [0, 2]) {
      const { glove, hold, index } = await start();
      await glove.command(`slack ${slackMm}`);
      await hold(0.5, 400);
      await glove.command('intend index 0.9 4');
      await hold(0.5, 800);
      curls.push((await index()).curl);
    }
    expect((curls[1]! - curls[0]!) * TRAVEL_M).toBeCloseTo(0.002, 4);
  });
});

describe('five stalled servos', () => {
  /** All servos hold at 0.3 against fingers that are pressed to the end of their travel. */
  async function stall(): Promise<Bench> {
    const bench = await start();
    await bench.glove.command('strength 60');
    await bench.hold(0.3, 500);
    for (const finger of FINGERS) await bench.glove.command(`set ${finger}.curl 1`);
    await bench.hold(0.3, 1000);
    return bench;
  }
  // V = E - R I, I = 5 (idle + stall current x V / rated V).
  const volts = (OPEN_V - SUPPLY_OHMS * 5 * IDLE_A) / (1 + (SUPPLY_OHMS * 5 * STALL_A) / RATED_V);
  const amperes = (OPEN_V - volts) / SUPPLY_OHMS;

  test('pull the supply down as worked by hand, and the glove reports it', async () => {
    const { host, hold, supply } = await stall();
    expect(volts).toBeCloseTo(4.503, 3);
    const now = await supply();
    expect(now.volts).toBeCloseTo(volts, 3);
    expect(now.amperes).toBeCloseTo(amperes, 2);
    const state = host.next('state');
    await hold(0.3, 1000);
    expect((await state).batteryMv).toBeCloseTo(1000 * volts, -1);
  });

  test('get warm in a first-order way, and the firmware lets go before they burn', async () => {
    const { glove, hold, index } = await stall();
    const before = (await index()).temperatureC;
    await hold(0.3, 10_000);
    const watts = (amperes / 5) ** 2 * (RATED_V / STALL_A);
    const settled = 25 + 25 * watts;
    expect((await index()).temperatureC).toBeCloseTo(settled - (settled - before) * Math.exp(-10 / 30), 1);
    expect(settled).toBeGreaterThan(95);

    // 70 degrees C is the board's limit.
    await hold(0.3, 20_000);
    const { free, temperatureC, curl } = await index();
    expect(free).toBe(true);
    expect(temperatureC).toBeLessThan(70.5);
    expect(curl).toBeGreaterThan(0.95);
    expect((await glove.ask<{ faults: number }>('stats')).faults & 2).toBe(2);
  }, 30_000);
});

describe('a wiper that is off', () => {
  const FARADS = 100e-9;
  // 14 pF of hold capacitor, 13 cycles of 125 kHz a conversion, seven inputs: open_wiper.h.
  const HOLD_SIEMENS = (14e-12 * 125e3) / 13 / 7;
  const TOP = 4095;
  const counts = (curl: number) => 491 + curl * (3604 - 491);

  /** Readings of the index finger, and when, s, after its wiper came off at curl 0.8; the thumb reads as an open one. */
  async function fall(fault: string): Promise<{ atS: number; reading: number }[]> {
    const { glove, host, advance } = await start(['--rate', '100']);
    const deviceUs = async () => (await glove.ask<{ deviceUs: number }>('stats')).deviceUs;
    await glove.command('set index.curl 0.8');
    await advance(500);
    await glove.command(`fault ${fault} index.curl`);
    const brokenUs = await deviceUs();
    const readings: { atS: number; reading: number }[] = [];
    for (let n = 0; n < 50; n++) {
      const nowUs = await deviceUs();
      const sample = host.next('sample', ({ deviceTimeUs }) => deviceTimeUs > nowUs);
      await advance(20);
      const { deviceTimeUs, counts: read } = await sample;
      readings.push({ atS: (deviceTimeUs - brokenUs) / 1e6, reading: read[1]! });
    }
    return readings;
  }

  test.each([470, 1000])('discharges through a pull-down of %i kΩ', async (kiloOhms) => {
    const readings = await fall(`open ${kiloOhms}`);
    const siemens = 1 / (1000 * kiloOhms) + HOLD_SIEMENS;
    const end = (HOLD_SIEMENS / siemens) * counts(0);
    for (const { atS, reading } of readings) {
      const expected = end + (counts(0.8) - end) * Math.exp((-atS * siemens) / FARADS);
      // A reading is taken within the millisecond before or after its time.
      expect(Math.abs(reading - expected), `${atS} s`).toBeLessThan(
        2 + 0.001 * expected * (siemens / FARADS),
      );
    }
    expect(readings.at(-1)!.reading / TOP).toBeLessThan(0.03);
  });

  test('without a pull-down follows the input before it, over seconds, and what leaks', async () => {
    const floating = (await fall('floating 0')).at(-1)!;
    const expected =
      counts(0) + (counts(0.8) - counts(0)) * Math.exp((-floating.atS * HOLD_SIEMENS) / FARADS);
    expect(Math.abs(floating.reading - expected)).toBeLessThan(3);
    // 20 nA out of 100 nF are 0.2 V/s of 5 V.
    const leaking = (await fall('floating 20')).at(-1)!;
    expect((floating.reading - leaking.reading) / TOP).toBeCloseTo(0.04, 2);
  });
});

test('commands and options of the physics are refused where they make no sense', async () => {
  const rigid = await startHostGlove();
  cleanups.push(() => rigid.quit());
  await expect(rigid.command('grasp 1')).rejects.toThrow('needs --physics');
  await expect(rigid.command('advance 10')).rejects.toThrow('--manual-time');
  const { glove } = await start();
  await expect(glove.command('intend knee 1')).rejects.toThrow('no finger knee');
  await expect(glove.command('fault open 0 index.curl')).rejects.toThrow('above 0');
  await expect(glove.command('intend index')).rejects.toThrow('intend FINGER');
  await expect(glove.command('intend index 1 0')).rejects.toThrow('speed');
  await expect(startHostGlove(['--physics', '--actuators', 'index:brake'])).rejects.toThrow('code 2');
});
