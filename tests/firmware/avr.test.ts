import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { expect, test, vi } from 'vitest';
import { FREE_US, held, SERVOS, startAvrHost as start } from './avr-host.js';

// The AVR image in a simulated ATmega328P. All times are the chip's; ours depends on how busy the machine is.
vi.setConfig({ testTimeout: 120_000 });

const BUILD = 'src/firmware/build';
/** 32 kB less a boot loader of 2 kB, the largest there is for this chip; 2 kB of RAM. */
const FLASH_BYTES = 30 * 1024;
const RAM_BYTES = 2048;
/** As in pins.h. */
const MAX_RATE_HZ = 390;
const CHANNELS = 7;
const INDEX = 1;
/** COBS code, type, seq, time, buttons, channels, CRC, 0. */
const SAMPLE_FRAME_BYTES = 1 + 2 + 4 + 2 + 2 * CHANNELS + 2 + 1;

/** Bytes that the linker placed. */
function sizes(elf: string): { flash: number; ram: number } {
  const [, numbers] = execFileSync('avr-size', [elf], { encoding: 'utf8' }).split('\n');
  const [text, data, bss] = numbers!.trim().split(/\s+/).map(Number) as [number, number, number];
  return { flash: text + data, ram: data + bss };
}

test('fits the controller with room to spare, stack included', () => {
  const { chip, codec, resist, runMs, hellos, states } = start();
  const placed = sizes(`${BUILD}/tautline-avr.elf`);
  runMs(20);
  // Everything that a host can ask for, at the highest rate, with interrupts from all sides.
  chip.send(codec.rate(MAX_RATE_HZ));
  for (let turn = 0; turn < 20; turn++) {
    resist(200, turn % SERVOS, 3000 * turn);
    chip.send(codec.ping(turn));
    chip.send(codec.pulse(turn % SERVOS, 200, 30, 100));
    if (turn % 4 === 0) chip.send(codec.askHello());
    if (turn % 5 === 0) chip.send(Uint8Array.from({ length: 260 }, (_, i) => (i * 31 + turn) % 256));
    if (turn % 7 === 0) chip.send(codec.release());
    runMs(30);
  }
  runMs(600);
  expect(hellos.length).toBeGreaterThan(5);
  expect(states.at(-1)!.watchdogTrips).toBeGreaterThan(0);

  const { stackBytes, freeBytes } = chip.ram(placed.ram);
  console.log(
    `AVR: flash ${placed.flash} of ${FLASH_BYTES} bytes; RAM ${placed.ram} placed + ${stackBytes} stack (high water)` +
      ` of ${RAM_BYTES}, ${freeBytes} never touched`,
  );
  expect(placed.flash).toBeLessThan(FLASH_BYTES / 2);
  expect(stackBytes).toBeGreaterThan(40);
  // A quarter of the RAM stays free.
  expect(freeBytes).toBeGreaterThanOrEqual(RAM_BYTES / 4);

  // What the documents say, give or take what another compiler makes of it.
  const wiring = readFileSync('docs/wiring.md', 'utf8');
  const [, flash] = wiring.match(/\| flash \| ([\d.]+) of 32 kB/)!;
  const [, ram, stack] = wiring.match(/\| RAM \| (\d+) bytes placed, (\d+) bytes of stack at most/)!;
  expect(Math.abs(placed.flash / (1000 * Number(flash)) - 1)).toBeLessThan(0.03);
  expect(Math.abs(placed.ram / Number(ram) - 1)).toBeLessThan(0.02);
  expect(Math.abs(stackBytes - Number(stack))).toBeLessThanOrEqual(16);
  const readme = readFileSync('src/firmware/README.md', 'utf8').replace(/\s+/g, ' ');
  expect(readme).toContain(`takes ${flash} kB of flash, and ${ram} bytes of RAM with ${stack} of stack`);
});

test('reads every channel and button where pins.h says, and samples on the grid of its own clock', () => {
  const { chip, samples, hellos, states, codec, runMs } = start();
  const inputs = [0, 1, 2, 3, 4, 6, 7];
  for (const input of inputs) chip.setVolts(input, 0.3 + 0.6 * input);
  chip.press(4, true);
  runMs(1500);
  expect(hellos[0]).toMatchObject({ protocol: 1, hand: 'right', sampleRateHz: 200 });
  expect(hellos[0]!.channels.map(({ bits }) => bits)).toEqual(Array(CHANNELS).fill(10));
  const last = samples.at(-1)!;
  expect(last.counts).toEqual(inputs.map((input) => Math.floor(((0.3 + 0.6 * input) / 5) * 1024)));
  expect(last.buttons).toBe(0b010);
  chip.press(4, false);
  chip.press(5, true);
  runMs(20);
  expect(samples.at(-1)!.buttons).toBe(0b100);

  // The timer under the clock goes round every 32.768 ms: 45 times by now.
  const first = samples[1]!;
  const meanUs = (last.deviceTimeUs - first.deviceTimeUs) / (samples.indexOf(last) - 1);
  expect(meanUs).toBeCloseTo(5000, -0.5);
  for (const [i, sample] of samples.entries()) {
    if (i > 0) expect(Math.abs(sample.deviceTimeUs - samples[i - 1]!.deviceTimeUs - 5000)).toBeLessThan(1500);
    // Seen when its last byte leaves: 26 bytes of 85 µs later, and at worst behind a hello and a state.
    expect(sample.seenUs - sample.deviceTimeUs).toBeGreaterThan(2000);
    expect(sample.seenUs - sample.deviceTimeUs).toBeLessThan(11_000);
  }
  expect(states.at(-1)).toMatchObject({ framesDropped: 0, faults: [] });
  expect(codec.counters).toMatchObject({ badCrc: 0, malformed: 0, lost: 0 });
});

test('keeps the highest rate that the line carries, and grants no more than pins.h allows', () => {
  const capped = start();
  capped.runMs(30);
  capped.chip.send(capped.codec.rate(5000));
  capped.runMs(1200);
  expect(capped.hellos.at(-1)!.sampleRateHz).toBe(MAX_RATE_HZ);
  expect(capped.states.at(-1)!.framesDropped).toBe(0);

  // 115200 bits a second, 10 a byte, one state (26 bytes) a second beside the samples.
  const stateBytes = 1 + 2 + 10 + 2 * SERVOS + 2 + 1;
  const byArithmetic = Math.floor((115200 / 10 - stateBytes) / SAMPLE_FRAME_BYTES);
  expect(MAX_RATE_HZ * SAMPLE_FRAME_BYTES * 10).toBeLessThanOrEqual(0.9 * 115200);
  execFileSync('make', ['--silent', '-C', 'src/firmware/avr', 'unlimited'], { stdio: 'inherit' });
  let kept = 0;
  for (const rateHz of [430, 440, 450, 460]) {
    const { chip, codec, states, samples, hellos, runMs } = start(`${BUILD}/tautline-avr-unlimited.hex`);
    runMs(30);
    chip.send(codec.rate(rateHz));
    runMs(1200);
    expect(hellos.at(-1)!.sampleRateHz).toBe(rateHz);
    if (states.at(-1)!.framesDropped > 0) break;
    expect(samples.length).toBeGreaterThan(rateHz);
    kept = rateHz;
  }
  console.log(
    `AVR at 115200 baud, ${CHANNELS} channels (${SAMPLE_FRAME_BYTES} bytes a sample): ${kept} Hz kept without a ` +
      `dropped sample (the chip's line runs at 117647); by arithmetic ${byArithmetic} Hz; granted ${MAX_RATE_HZ} Hz`,
  );
  // In steps of 10 Hz: the line is the limit, not the controller.
  expect(kept).toBeGreaterThan(byArithmetic - 10);
});

test('servo pulses are exact and steady while everything else goes on', () => {
  const { chip, codec, pulses, resist, runMs } = start();
  runMs(30);
  expect(pulses.slice(0, SERVOS).map(({ servo }) => servo)).toEqual([0, 1, 2, 3, 4]);
  for (const { us } of pulses) expect(Math.abs(us - FREE_US)).toBeLessThan(3);
  chip.send(codec.rate(MAX_RATE_HZ));
  for (const [stop, us] of [
    [0, 2000],
    [32767, 1550],
    [65534, 1100],
  ] as const) {
    const began = chip.timeUs;
    for (let renewals = 0; renewals < 10; renewals++) {
      resist(250, INDEX, stop);
      runMs(20);
    }
    const seen = pulses.filter(({ servo, endUs }) => servo === INDEX && endUs > began + 25_000);
    expect(seen.length).toBeGreaterThanOrEqual(8);
    const widths = seen.map((pulse) => pulse.us);
    for (const width of widths) expect(Math.abs(width - us)).toBeLessThan(3);
    expect(Math.max(...widths) - Math.min(...widths)).toBeLessThan(2);
    // 50 Hz.
    for (const [i, { endUs }] of seen.entries()) {
      if (i > 0) expect(Math.abs(endUs - seen[i - 1]!.endUs - 20_000)).toBeLessThan(20);
    }
    // The others let go.
    expect(pulses.filter((pulse) => pulse.servo !== INDEX && held(pulse))).toEqual([]);
  }
});

test('its clock never stands back, however often the timer under it goes round', () => {
  const { chip, codec, states, resist, runMs } = start();
  runMs(30);
  // A clock that is one round (32.8 ms) behind is before the last message, and that looks like long silence.
  for (let round = 0; round < 600; round++) {
    if (round % 10 === 0) {
      resist(1000, INDEX, 20_000);
      runMs(2.5);
    }
    chip.send(codec.ping(round));
    runMs(1);
    chip.windTimer(20 + (round % 80));
    runMs(0.1);
  }
  runMs(100);
  expect(states.at(-1)!.positions[INDEX]).toBe(20_000);
  expect(states.at(-1)!.watchdogTrips).toBe(0);
});

test('frees the fingers when the host falls silent, also when the line is full of nonsense', () => {
  const { chip, pulses, states, tokens, codec, resist, runMs } = start();
  runMs(30);
  resist(1000, INDEX, 20_000);
  runMs(60);
  expect(held(pulses.findLast(({ servo }) => servo === INDEX)!)).toBe(true);
  // What was heard last was heard 60 ms ago. From here on, bytes without sense.
  const silentFromUs = chip.timeUs - 60_000;
  for (let ms = 0; ms < 300; ms++) {
    chip.send(Uint8Array.from({ length: 8 }, (_, i) => (ms * 97 + i * 41) % 256));
    runMs(1);
  }
  runMs(40);
  const lastHeld = pulses.findLast(held)!;
  expect(lastHeld.endUs - silentFromUs).toBeLessThan(300_000);
  expect(lastHeld.endUs - silentFromUs).toBeGreaterThan(200_000);
  chip.send(codec.ping(77));
  runMs(20);
  // The line may end inside a frame that never was one: the next is heard.
  chip.send(codec.ping(78));
  runMs(20);
  expect(tokens).toContain(78);
  runMs(1000);
  expect(states.at(-1)).toMatchObject({ watchdogTrips: 1, faults: ['watchdogRelease'] });
  expect(chip.overruns).toBe(0);
});
