import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { OPEN_INPUT } from '../../src/sensing/health/signal-bounds.js';

const DOCUMENT = readFileSync('docs/wiring.md', 'utf8');
const ESP32 = readFileSync('src/firmware/esp32/tautline_glove/pins.h', 'utf8').replace(/\/\/.*/g, '');
const AVR = readFileSync('src/firmware/avr/pins.h', 'utf8').replace(/\/\/.*/g, '');

/** Name of a row, its ESP32 pin, its AVR input or pin. */
const table = [...DOCUMENT.matchAll(/^\| ([\w. ]+?) +\| (\d+) +\| (\w+) +\| (\w+) +\|$/gm)].map(
  ([, what, esp32, avr, printed]) => ({ what, esp32: Number(esp32), avr, printed }),
);

/** What pins.h says, with the names that the document uses. */
function pinsOf(header: string, names: { channel: string; button: string; servo: string }) {
  const channels = [...header.matchAll(/channel_role::(\w+), (\d+)/g)].map(([, role, pin]) => [
    role!.replace('_', '.'),
    names.channel + pin,
  ]);
  const buttons = header
    .match(/BUTTON_PINS\[\] = \{([\d, ]+)\}/)![1]!
    .split(',')
    .map((pin, i) => [`button ${i}`, names.button + pin.trim()]);
  const servos = [...header.matchAll(/actuator_role::(\w+), (\d+)/g)].map(([, role, pin]) => [
    `servo of ${role}`,
    names.servo + pin,
  ]);
  return [...channels, ...buttons, ...servos];
}

test('the wiring table names the pins of both boards as they are set', () => {
  expect(table.length).toBe(15);
  expect(table.map(({ what, esp32 }) => [what, String(esp32)])).toEqual(
    pinsOf(ESP32, { channel: '', button: '', servo: '' }),
  );
  expect(table.map(({ what, avr }) => [what, avr])).toEqual(
    pinsOf(AVR, { channel: 'ADC', button: 'PD', servo: 'PB' }),
  );
  // The usual boards number port D from 0, port B from 8, and the converter's inputs from A0.
  const printed = (pin: string) => pin.replace('ADC', 'A').replace('PD', '');
  for (const row of table) {
    const expected = row.avr!.startsWith('PB') ? String(8 + Number(row.avr!.slice(2))) : printed(row.avr!);
    expect(row.printed, row.what).toBe(expected);
  }
});

test('the figures of the AVR in the document are those of its pins.h', () => {
  const rate = Number(AVR.match(/MAX_RATE_HZ = (\d+)/)![1]);
  const baud = Number(AVR.match(/BAUD = (\d+)/)![1]);
  expect(DOCUMENT).toContain(`| highest rate granted (\`MAX_RATE_HZ\`) | ${rate} Hz`);
  expect(DOCUMENT).toContain(`| rate at ${baud} baud, by arithmetic | (${baud / 10} − 26) / 26 = `);
});

describe('what the wiring page says of the pull-down', () => {
  // A loaded potential divider, and a capacitor that discharges: any handbook of circuits.
  const POT_OHMS = 10e3;
  const FARADS = 100e-9;
  const OPEN = 0.12;
  const CLOSED = 0.88;
  const read = (ohms: number, turn: number) => turn / (1 + (turn * (1 - turn) * POT_OHMS) / ohms);
  const turns = Array.from({ length: 10_001 }, (_, n) => n / 10_000);
  const error = (ohms: number) => Math.max(...turns.map((turn) => turn - read(ohms, turn)));
  const leftByFit = (ohms: number) => {
    const [low, high] = [read(ohms, OPEN), read(ohms, CLOSED)];
    return Math.max(
      ...turns
        .filter((turn) => turn >= OPEN && turn <= CLOSED)
        .map((turn) => Math.abs(read(ohms, turn) - low - ((high - low) * (turn - OPEN)) / (CLOSED - OPEN))),
    );
  };
  const toBottomS = (ohms: number) => ohms * FARADS * Math.log(CLOSED / OPEN_INPUT);
  // 14 pF of hold capacitor and 13 cycles a conversion: the ATmega328P's data sheet (from memory).
  const end = (ohms: number) => {
    const siemens = (14e-12 * 125e3) / 13 / 7;
    return siemens / (siemens + 1 / ohms);
  };
  const row = (of: (ohms: number) => string) => `| ${of(470e3)} | ${of(1e6)} |`;
  const percent = (part: number, digits: number) => `${(100 * part).toFixed(digits)} %`;

  test.each([
    ['error', `${percent(error(470e3), 2)}: ${(4095 * error(470e3)).toFixed(1)} of 4095 counts`],
    ['error in counts of ten bits', `${(1023 * error(470e3)).toFixed(1)} of 1023 |`],
    ['error of 1 MΩ', `| ${percent(error(1e6), 2)}: ${(4095 * error(1e6)).toFixed(1)} and `],
    ['left by a fit', row((ohms) => percent(leftByFit(ohms), 2))],
    ['time constant', row((ohms) => `${(1000 * ohms * FARADS).toFixed(0)} ms`)],
    ['to the bottom', row((ohms) => `${toBottomS(ohms).toFixed(2)} s`)],
    ['where it ends', row((ohms) => percent(end(ohms), 1))],
  ])('%s', (_, text) => {
    expect(DOCUMENT).toContain(text);
  });

  test('is on the boards, by the comment beside their pins', () => {
    for (const board of ['src/firmware/esp32/tautline_glove/pins.h', 'src/firmware/avr/pins.h']) {
      expect(readFileSync(board, 'utf8')).toContain('100 nF and 1 MOhm to ground');
    }
  });
});
