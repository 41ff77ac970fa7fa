import { execFileSync } from 'node:child_process';
import { expect, test, vi } from 'vitest';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { AVR_PROGRAM } from './avr-glove.js';
import { held, type Pulse, SERVOS, startAvrHost } from './avr-host.js';

// The AVR image in a simulated ATmega328P, whose program goes astray while it holds. All times are the chip's.
vi.setConfig({ testTimeout: 120_000 });

const PHASES = 20;
/** A servo is on its way by its pulses, 20 ms apart; the moments of hanging are spread over that. */
const PULSE_PERIOD_US = 20_000;
/** As in main.cpp: the interrupt lets go after 32 ms without the loop, looking every 4 ms. */
const HUNG_MS = 32;
const TICK_MS = 4;
const LONGEST_PULSE_MS = 2;
/** The watchdog timer, at its slowest with the simulator's exact oscillator (data sheet: 8192 cycles of 128 kHz). */
const RESTART_MS = 64;
/** Long enough for a restart and the pulses after it. */
const WATCHED_MS = 120;
/** A sample with a device time below this comes from a program that has just started. */
const STARTED_US = 20_000;

interface Outcome {
  /** From hanging to the end of the last pulse that held. */
  heldMs: number;
  /** From hanging until every servo has had a pulse that lets go. */
  allToldMs: number;
  /** From hanging to the first sample of the program that started again. */
  restartedMs: number;
  /** Servos that were let go before the restart. */
  toldBefore: number;
}

type Host = ReturnType<typeof startAvrHost>;

/** Every servo is held; then the program hangs, at another moment of the pulses' round for every phase. */
function hangAtPhases(hang: (host: Host) => void, meanwhile?: (host: Host) => void): Outcome[] {
  return Array.from({ length: PHASES }, (_, phase) => {
    const host = startAvrHost();
    const { chip, codec, pulses, runMs } = host;
    runMs(30);
    const stops = new Uint16Array(SERVOS).map((_, i) => 1000 + 12_000 * i);
    const hold = () => chip.send(codec.resist(1000, stops, new Uint8Array(SERVOS).fill(255), SERVOS));
    hold();
    runMs(30);
    chip.run((phase * PULSE_PERIOD_US) / PHASES);
    hold();
    // On the line for 2 ms; heard just before the end.
    runMs(3);
    const hangsAtUs = chip.timeUs;
    const before = new Set(
      pulses
        .slice(-SERVOS)
        .filter(held)
        .map(({ servo }) => servo),
    );
    expect([...before].sort()).toEqual([0, 1, 2, 3, 4]);
    hang(host);
    let restartedUs = Number.POSITIVE_INFINITY;
    for (let ms = 0; ms < WATCHED_MS; ms++) {
      runMs(1);
      meanwhile?.(host);
      const { deviceTimeUs, seenUs } = host.samples.at(-1)!;
      if (deviceTimeUs < STARTED_US) restartedUs = Math.min(restartedUs, seenUs);
    }
    const after = pulses.filter(({ endUs }) => endUs > hangsAtUs);
    const told = Array.from({ length: SERVOS }, (_, servo) => {
      const freed = after.find((pulse: Pulse) => pulse.servo === servo && !held(pulse));
      return freed?.endUs ?? Number.POSITIVE_INFINITY;
    });
    const ms = (us: number) => (us - hangsAtUs) / 1000;
    return {
      heldMs: Math.max(0, ms(after.findLast(held)?.endUs ?? hangsAtUs)),
      allToldMs: ms(Math.max(...told)),
      restartedMs: ms(restartedUs),
      toldBefore: told.filter((us) => us < hangsAtUs + RESTART_MS * 1000).length,
    };
  });
}

const worst = (outcomes: readonly Outcome[], what: keyof Outcome): number =>
  Math.max(...outcomes.map((one) => one[what]));

function say(what: string, outcomes: readonly Outcome[]): void {
  const figure = (name: keyof Outcome) => worst(outcomes, name).toFixed(1);
  console.log(
    `AVR, ${what}, worst of ${outcomes.length}: last held pulse ends ${figure('heldMs')} ms after, every servo ` +
      `let go ${figure('allToldMs')} ms after, started again ${figure('restartedMs')} ms after`,
  );
}

test('a loop that hangs: the timer lets go of every finger before the chip restarts', () => {
  const outcomes = hangAtPhases(({ chip }) => chip.hang());
  say('loop hung', outcomes);
  expect(worst(outcomes, 'heldMs')).toBeLessThan(HUNG_MS + TICK_MS + LONGEST_PULSE_MS);
  // By pulses, not by their absence: a servo that keeps its last place is let go as well, restart or not.
  expect(outcomes.map(({ toldBefore }) => toldBefore)).toEqual(Array(PHASES).fill(SERVOS));
  expect(worst(outcomes, 'allToldMs')).toBeLessThan(RESTART_MS);
  expect(worst(outcomes, 'restartedMs')).toBeLessThan(RESTART_MS + 50);
});

test('an interrupt that hangs: the watchdog timer restarts the chip, free', () => {
  const outcomes = hangAtPhases(({ chip }) => chip.hang('off'));
  say('interrupts off', outcomes);
  expect(worst(outcomes, 'heldMs')).toBeLessThan(RESTART_MS + 1);
  expect(worst(outcomes, 'restartedMs')).toBeLessThan(RESTART_MS + 50);
  expect(worst(outcomes, 'allToldMs')).toBeLessThan(RESTART_MS + 50);
});

test('a loop that reads on but never polls the core is a hung one, whatever it is sent', () => {
  const poll = Number.parseInt(
    execFileSync('avr-nm', ['src/firmware/build/tautline-avr.elf'], { encoding: 'utf8' }).match(
      /^(\w+) T _ZN8tautline5Glove4pollEv$/m,
    )![1]!,
    16,
  );
  const outcomes = hangAtPhases(
    ({ chip }) => expect(chip.skipCallsOf(poll)).toBe(1),
    // The host goes on renewing what it holds.
    ({ resist }) => resist(1000, 2, 20_000),
  );
  say('loop never polls', outcomes);
  expect(worst(outcomes, 'heldMs')).toBeLessThan(HUNG_MS + TICK_MS + LONGEST_PULSE_MS);
  expect(worst(outcomes, 'allToldMs')).toBeLessThan(RESTART_MS);
});

test('a flood that comes faster than it can be read keeps nothing held, and is no hang', () => {
  const { chip, codec, pulses, hellos, states, resist, runMs } = startAvrHost();
  runMs(30);
  resist(1000, 1, 20_000);
  runMs(60);
  const silentFromUs = chip.timeUs - 60_000;
  chip.baud = 2_000_000;
  const nonsense = Uint8Array.from({ length: 250 }, (_, i) => ((i * 41) % 255) | 1);
  for (let ms = 0; ms < 400; ms++) {
    chip.send(nonsense);
    runMs(1);
  }
  chip.baud = undefined;
  expect(pulses.findLast(held)!.endUs - silentFromUs).toBeLessThan(300_000);
  chip.send(codec.ping(1));
  runMs(1100);
  expect(hellos.length).toBe(1);
  expect(states.at(-1)).toMatchObject({ watchdogTrips: 1, faults: ['watchdogRelease'] });
});

test('the loop takes a small part of the time after which it counts as hung', () => {
  const { chip, codec, states, runMs } = startAvrHost();
  runMs(30);
  chip.send(codec.rate(390));
  const efforts = new Uint8Array(SERVOS).fill(255);
  for (let turn = 0; turn < 300; turn++) {
    const stops = new Uint16Array(SERVOS).fill(turn % 7 === 0 ? STOP_FREE : 200 * turn);
    chip.send(codec.resist(200, stops, efforts, SERVOS));
    chip.send(codec.pulse(turn % SERVOS, 200, 30, 100));
    chip.send(codec.ping(turn));
    if (turn % 5 === 0) chip.send(codec.askHello());
    if (turn % 50 === 0) chip.send(Uint8Array.from({ length: 300 }, (_, i) => (i * 31 + turn) % 256));
    runMs(10);
  }
  console.log(`AVR: the loop went round in ${chip.longestLoopUs.toFixed(0)} µs at most`);
  expect(states.at(-1)!.watchdogTrips).toBe(0);
  expect(chip.longestLoopUs).toBeGreaterThan(0);
  expect(chip.longestLoopUs / 1000).toBeLessThan(HUNG_MS / 4);
});

test('the servo pins are held low from the first microseconds after a reset', () => {
  const { chip } = startAvrHost(AVR_PROGRAM);
  const servoPins = [0, 1, 2, 3, 4];
  expect(servoPins.map((pin) => chip.pin(pin))).toEqual(servoPins.map(() => 'floating'));
  chip.run(5);
  expect(servoPins.map((pin) => chip.pin(pin))).toEqual(servoPins.map(() => 'low'));
  expect(chip.pin(5)).toBe('floating');
});
