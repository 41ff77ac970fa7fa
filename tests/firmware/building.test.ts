import { readFileSync } from 'node:fs';
import { describe, expect, it, test } from 'vitest';

/** Figures of the building and wiring pages that are arithmetic, worked out again here. */

const BUILDING = readFileSync('docs/building.md', 'utf8').replace(/\s+/g, ' ');
const WIRING = readFileSync('docs/wiring.md', 'utf8').replace(/\s+/g, ' ');
const PINS = readFileSync('src/firmware/esp32/tautline_glove/pins.h', 'utf8');
const PHYSICS = readFileSync('src/firmware/host/finger_physics.h', 'utf8');

const physical = (name: string): number => Number(new RegExp(`double ${name} = ([\\d.]+)`).exec(PHYSICS)![1]);
const TRAVEL_MM = physical('travel') * 1000;

describe('the building page', () => {
  // T_in / T_out = exp(mu * angle): L. Euler 1769, J. Eytelwein 1808; any handbook of mechanics.
  const more = (mu: number, degrees: number) =>
    Math.round(100 * (Math.exp((mu * degrees * Math.PI) / 180) - 1));
  test.each([
    [`| 90° | ${more(0.1, 90)} % more pull | ${more(0.3, 90)} % more |`],
    [`| 180° | ${more(0.1, 180)} % more | ${more(0.3, 180)} % more |`],
    // Two springs in series.
    [`14 N/mm in series with fabric of 8 N/mm is ${(1 / (1 / 14 + 1 / 8)).toFixed(1)} N/mm`],
    [`80 N or more for a cap of 8 N: five times the cap, and a knot halves it: 8 · 5 · 2`],
    // Virtual work: tension times the way of the string is force times the way of the pad (docs/sizing.md: 169 mm).
    [`${((0.5 * TRAVEL_MM) / 169).toFixed(2)} N: 0.5 · ${TRAVEL_MM.toFixed(1)} / 169`],
    // T. Flash, N. Hogan, J. Neurosci. 5(7), 1985: the peak acceleration of least jerk is 10 / sqrt(3) way / time^2.
    [`peak ${(10 / Math.sqrt(3)).toFixed(2)} · way / time²`],
    [`the ${(((10 / Math.sqrt(3)) * TRAVEL_MM) / 1000 / 0.15 ** 2).toFixed(0)} m/s² of 42.7 mm in 0.15 s`],
    [
      `| ${(((0.003 / 2) * (10 / Math.sqrt(3)) * TRAVEL_MM) / 1000 / 0.15 ** 2).toFixed(2)} N, which is nothing`,
    ],
    [`${(TRAVEL_MM / (2 * Math.PI * 10)).toFixed(2)} for 42.7 mm on 10 mm`],
    [`| 15,000 (c.p.) | ${15_000 / 600} days |`],
    [`| 1,000,000 or more (c.p.) | ${(1e6 / 600 / 365.25).toFixed(1)} years |`],
    [`12 mm · 90° = ${((12 * Math.PI) / 2).toFixed(0)} mm, over a whole finger ${TRAVEL_MM.toFixed(0)} mm`],
    [`by up to ${(3 + 190 * Math.sin((2 * Math.PI) / 180)).toFixed(0)} mm: 3 + 190 · sin 2°`],
  ])('%s', (text) => {
    expect(BUILDING).toContain(text);
  });

  it('has the friction and the spring of the physical model', () => {
    expect(BUILDING).toContain(`| ${physical('friction')} N; hang weights`);
    expect(BUILDING).toContain(`0.4 to ${physical('retraction')} N`);
    expect(physical('retraction')).toBeGreaterThanOrEqual(2 * physical('friction'));
    // 1 mm at 5 N.
    expect(physical('stringStiffness')).toBe(5 / 0.001);
  });
});

describe('the wiring page', () => {
  it('puts channels on the converters that it says', () => {
    // Its maker's programming guide 4.4, "Analog to Digital Converter".
    const first = (pin: number) => pin >= 32 && pin <= 39;
    const second = [0, 2, 4, 12, 13, 14, 15, 25, 26, 27];
    const pins = [...PINS.matchAll(/channel_role::(\w+), (\d+)/g)].map(([, role, pin]) => ({
      role,
      pin: Number(pin),
    }));
    expect(pins.filter(({ pin }) => !first(pin))).toEqual([{ role: 'stick_y', pin: 27 }]);
    expect(second).toContain(27);
    expect(WIRING).toContain('| 1 | 32 to 39 |');
    expect(WIRING).toContain('| 2 | 0, 2, 4, 12 to 15, 25 to 27 |');
    // Nothing in the sketch turns Wi-Fi on.
    for (const file of ['tautline_glove.ino', 'ble_link.h', 'loop_guard.h']) {
      expect(readFileSync(`src/firmware/esp32/tautline_glove/${file}`, 'utf8')).not.toMatch(/WiFi/);
    }
  });

  it('says what the capacitor bridges, and when a brake lets go', () => {
    expect(WIRING).toContain(`3.5 A for 0.1 ms takes ${((3.5 * 1e-4) / 1e-3).toFixed(2)} V out of 1000 µF`);
    const tauMs = (1000 * 0.1) / 20;
    expect(Math.exp(-3)).toBeCloseTo(1 / 20, 2);
    expect(WIRING).toContain(`0.1 H and 20 Ω are ${tauMs} ms, so ${3 * tauMs} ms`);
  });
});
