import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';

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
