import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { expect, it, onTestFinished } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import { FINGERS } from '../../src/hand/joints.js';
import { type FigureName, SIZING_DEFAULTS, type SizingInput, sizeGlove } from '../../src/sensing/sizing.js';
import { endResistors } from '../../src/sensing/sizing-converter.js';
import { run } from '../commands/cli.js';

const size = (more: Partial<SizingInput> = {}) => {
  const { figures, warnings } = sizeGlove({ ...SIZING_DEFAULTS, ...more });
  const of = (name: FigureName) => figures.find((figure) => figure.name === name)!.value;
  return { of, warnings: warnings.join('\n') };
};

it('works the default glove out as by hand', () => {
  const { of } = size();
  // Knuckle 90, middle joint 100 and last joint 2/3 of that, in radians, times 12, 9 and 7 mm.
  const travel = 12 * (Math.PI / 2) + 9 * ((100 * Math.PI) / 180) + 7 * (((200 / 3) * Math.PI) / 180);
  expect(of('excursion')).toBeCloseTo(travel, 3);
  expect(of('travelUsed')).toBeCloseTo(((travel / 10) * (180 / Math.PI) * 100) / 270, 3);
  expect(of('countsUsed')).toBeCloseTo((of('travelUsed') / 100) * 4095, 3);
  expect(of('degreesPerCount')).toBeCloseTo(100 / of('countsUsed'), 6);
  // 0.15 N m at 10 mm.
  expect(of('stallTension')).toBeCloseTo(15, 9);
  expect(of('tension')).toBe(8);
  // 60 degrees in 0.12 s are 8.727 rad/s.
  expect(of('stringSpeed')).toBeCloseTo(87.27, 2);
  expect(of('closingSpeed')).toBeCloseTo(87.266 / travel, 4);
  expect(of('current')).toBeCloseTo(3.65, 9);
  expect(size({ batteryMah: 2500 }).of('runTime')).toBeCloseTo(2.5 / (0.15 + 0.2 * 3.5), 9);
});

it('grows the heights with the hand', () => {
  expect(size({ handLengthMm: 2 * 189 }).of('excursion') / size().of('excursion')).toBeCloseTo(2, 9);
  expect(size({ heightsMm: [10, 0, 0] }).of('excursion')).toBeCloseTo(5 * Math.PI, 3);
});

it('warns of what will not work, and says what would', () => {
  expect(size({ spoolRadiusMm: 8 }).warnings).toMatch(/^Over-range: .* 306 degrees and has 270/);
  expect(size({ spoolRadiusMm: 9.2 }).warnings).toMatch(/Hardly any room/);
  expect(size({ spoolRadiusMm: 50 }).warnings).toMatch(/Short range: only 18.1 %/);
  expect(size({ converterBits: 6, spoolRadiusMm: 20 }).warnings).toMatch(/Coarse/);
  expect(size({ servoTorqueNm: 0.07 }).warnings).not.toMatch(/Tension/);
  expect(size().warnings).toMatch(/Tension: the servo can pull 15 N.* 18.8 mm/);
  expect(size().warnings).toMatch(/Slow/);
  expect(size({ supplyA: 3 }).warnings).toMatch(/Supply too weak: it gives 3 A, and 3.65 A/);
  const good = { servoTorqueNm: 0.15, servoRadiusMm: 19, supplyA: 4 };
  expect(size(good).warnings).toBe('');
});

it('the remedy for over-range is a remedy', () => {
  const { warnings } = size({ spoolRadiusMm: 6 });
  const radius = Number(warnings.match(/spool of ([\d.]+) mm/)?.[1]);
  expect(size({ spoolRadiusMm: radius + 0.01 }).warnings).not.toMatch(/Over-range|Hardly/);
});

it('prints the worked example of the documentation, in 80 columns', async () => {
  const document = readFileSync('docs/sizing.md', 'utf8');
  const [, command, text] = document.match(/ {4}\$ tautline (.*)\n((?: {4}.*\n|\n)+)/)!;
  const { code, stdout, stderr } = await run(...command.split(' '));
  expect(stderr).toBe('');
  expect(code).toBe(0);
  expect(stdout.trimEnd()).toBe(text.replace(/^ {4}/gm, '').trimEnd());
  for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
});

it('prints JSON, and one clear line for a wrong number', async () => {
  const { stdout } = await run('sizing', '--json', '--spool', '6');
  expect(JSON.parse(stdout)).toMatchObject({
    input: { spoolRadiusMm: 6 },
    figures: { travelUsed: { unit: '%' } },
    warnings: [/^Over-range/, /^Swing/, /^Tension/, /^Slow/, /^Supply/].map((line) =>
      expect.stringMatching(line),
    ),
  });
  const wrong = await run('sizing', '--bits', '40');
  expect(wrong.code).toBe(2);
  expect(wrong.stderr).toMatch(/--bits <n>.*from 6 to 16/);
  const sheet = await run('sizing', '--torque', '1.5');
  expect(sheet.code).toBe(2);
  expect(sheet.stderr).toMatch(/--torque <Nm>.*did you mean kg·cm, .* 1\.5 kg·cm is 0\.147 N·m/);
});

const GOOD = { servoRadiusMm: 19, supplyA: 4 };
/** 90, 100 and 66.7 degrees at 12, 9 and 7 mm, by hand: 18.850 + 15.708 + 8.145. */
const TRAVEL_MM = 42.702;

it('works the servo out as by hand', () => {
  const { of, warnings } = size(GOOD);
  // 42.702 / 19 = 2.2475 rad = 128.77 degrees; on 10 mm 4.2702 rad = 244.67 degrees.
  expect(of('servoSwing')).toBeCloseTo(128.77, 1);
  expect(size().of('servoSwing')).toBeCloseTo(244.67, 1);
  // 180 degrees over 500 to 2500 us are 11.111 us a degree: 1500 -+ 64.385 x 11.111.
  expect(of('pulseLow')).toBe(785);
  expect(of('pulseHigh')).toBe(2215);
  // 8.7266 rad/s x 19 mm = 165.81 mm/s; half of 42.702 mm takes 128.8 ms, and a pulse comes every 20 ms.
  expect(of('arrival')).toBeCloseTo(148.8, 1);
  expect(warnings).toBe('');
  expect(size().warnings).toMatch(
    /Swing: the index's string needs 245 degrees of the servo, which has 180\. Use a servo spool of 14\.4 mm/,
  );
  // 95 % of 180 degrees are 2.9845 rad: 42.702 / 2.9845 = 14.31 mm.
  expect(size({ servoRadiusMm: 14.4 }).warnings).not.toMatch(/[Ss]wing/);
});

it('says what the pad feels by virtual work: less than the string, as the tip goes farther', () => {
  const { of } = size(GOOD);
  // Every point of a rigid finger of 86 mm that turns by 257 degrees goes less than 86 x 4.485 mm; the tip curls in on itself.
  const path = (of('tension') * TRAVEL_MM) / of('padForce');
  expect(path).toBeGreaterThan(86 * (Math.PI / 2));
  expect(path).toBeLessThan(86 * 4.485);
});

it('knows the range of an ESP32, and brings a whole turn into it', () => {
  const { of, warnings } = size({ ...GOOD, board: 'esp32' });
  // (2.45 - 0.15) / 3.3; useful input by the maker's programming guide 4.4.
  expect(of('converterUsable')).toBeCloseTo(69.7, 1);
  // 90.62 % of 4095 x 3.3 / 3.9.
  expect(of('countsUsed')).toBeCloseTo(0.9062 * 4095 * (3.3 / 3.9), -1);
  expect(warnings).toMatch(
    /Converter: .* 4\.7 kΩ between the rail .* 2\.7 kΩ between it and ground.*13\.7 mm/,
  );
  expect(size({ ...GOOD, board: 'esp32', spoolRadiusMm: 13.8 }).warnings).toBe('');
  // By hand, for 10 kOhm: 3.3 x 2700 / 17400 = 0.512 V, 3.3 x 12700 / 17400 = 2.409 V.
  expect(endResistors(10_000)).toEqual({ top: 4700, bottom: 2700 });
  fc.assert(
    fc.property(fc.integer({ min: 500, max: 200_000 }), (pot) => {
      const { top, bottom } = endResistors(pot);
      const volts = (ohms: number) => (3.3 * ohms) / (pot + top + bottom);
      expect(volts(bottom)).toBeGreaterThanOrEqual(0.12 * 3.9 - 1e-9);
      expect(volts(bottom + pot)).toBeLessThanOrEqual(2.45 + 1e-9);
      // And wastes little of it.
      expect(volts(pot)).toBeGreaterThan(1.5);
    }),
  );
});

it('works battery, cable and fuse out as by hand', () => {
  const { of, warnings } = size({ ...GOOD, batteryMah: 2500, cellVolts: 3.7 });
  // 2.5 Ah x 3.7 V x 0.85 = 7.8625 Wh; 5 V x (0.15 + 0.2 x 3.5) A = 4.25 W.
  expect(of('runTime')).toBeCloseTo(1.85, 3);
  // 5 V x 3.65 A / 0.85 / 3.3 V = 6.506 A; / 2.5 Ah = 2.602 C.
  expect(of('cellPeak')).toBeCloseTo(6.506, 3);
  expect(of('cellRate')).toBeCloseTo(2.602, 3);
  expect(of('supplyLow')).toBe(3.3);
  // 6.506 A at 2 C need 3253 mAh.
  expect(warnings).toMatch(/Battery: 6\.51 A are 2\.6 C.* Use 3300 mAh or more/);
  expect(size({ ...GOOD, batteryMah: 3300, cellVolts: 3.7 }).warnings).toBe('');
  // 3.65 A through 1 m of 0.5 mm2: 1 / (58 x 0.5) = 34.48 mOhm, 0.1259 V. IEC 60028: copper at 20 C has 1/58 ohm mm2/m.
  expect(of('cableDrop')).toBeCloseTo(0.1259, 4);
  expect(of('wire')).toBe(0.5);
  // 1.1 x 3.65 = 4.015 A: the next rating above (ISO 8820-3, from memory) is 5 A.
  expect(of('fuse')).toBe(5);
  expect(size({ ...GOOD, wireMm2: 0.25 }).warnings).toMatch(
    /Cable: 0\.25 mm2 .* carries 2\.5 A .* lets 5 A through\. Use 0\.5 mm2/,
  );
  // 2 m: 0.5 V lost; 5 % of 5 V want 3.65 x 4 / (58 x 0.25) = 1.007 mm2.
  expect(size({ ...GOOD, cableM: 2 }).warnings).toMatch(/Cable: .*Use 1\.5 mm2/);
  expect(size({ ...GOOD, supplyA: 60, servoStallA: 6 }).warnings).toMatch(/two groups with a fuse each/);
});

it('sizes the thumb and five different fingers', () => {
  const { fingers } = sizeGlove({ ...SIZING_DEFAULTS, ...GOOD, fingerHeightsMm: { little: [10, 7, 5] } });
  const of = (finger: string) => fingers.find((one) => one.finger === finger)!;
  // 10 x 1.5708 + 7 x 1.7453 + 5 x 1.1636.
  expect(of('little').excursionMm).toBeCloseTo(33.743, 2);
  // The thumb's CMC flexes by 7, its MCP by 50, its IP by 70 degrees: 12 x 0.1222 + 9 x 0.8727 + 7 x 1.2217.
  expect(of('thumb').excursionMm).toBeCloseTo(17.872, 2);
  expect(of('index').excursionMm).toBeCloseTo(TRAVEL_MM, 2);
});

it.each(['ratiometric', 'esp32'] as const)('gives lines that are a profile: %s', (board) => {
  const { profile, fingers } = sizeGlove({ ...SIZING_DEFAULTS, ...GOOD, board });
  const [first, ...rest] = profile;
  const text = [
    'profile: 1',
    'gloves:',
    '  - name: g',
    '    hand: right',
    '    link: { kind: serial }',
    first,
    ...rest,
  ];
  const { gloves, safety } = parseProfile(text.join('\n'), 'sizing');
  expect(gloves[0].channels.map(({ role }) => role)).toEqual(FINGERS.map((finger) => `${finger}.curl`));
  expect(gloves[0].actuators).toHaveLength(5);
  expect(gloves[0].actuators[1]).toMatchObject({
    stallTorqueNm: 0.15,
    spoolRadiusMm: 19,
    servoUs: [785, 2215],
  });
  expect(gloves[0].actuators[1].speedCurlPerS).toBeCloseTo(3.88, 2);
  expect(gloves[0].actuators[0].servoUs).toEqual([...fingers[0].pulsesUs]);
  expect(safety).toMatchObject({ maxTensionN: 8, maxSupplyA: 4 });
});

it('lays two lists of parts side by side', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-sizing-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const [small, large, bad] = ['small.json', 'large.json', 'bad.json'].map((name) => join(folder, name));
  writeFileSync(small, (await run('sizing', '--json')).stdout);
  writeFileSync(large, JSON.stringify({ servoRadiusMm: 19, supplyA: 4 }));
  writeFileSync(bad, JSON.stringify({ servoRadiusMm: 'wide' }));
  const { code, stdout, stderr } = await run('sizing', '--compare', small, large);
  expect([code, stderr]).toEqual([0, '']);
  expect(stdout).toMatch(/Swing of the servo from open to closed, deg +245 +129\n/);
  expect(stdout).toContain(`${large}: nothing to warn of.`);
  const wrong = await run('sizing', '--compare', small, bad);
  expect(wrong.code).toBe(6);
  expect(wrong.stderr).toMatch(
    /bad\.json: servoRadiusMm must be a number from .* Write it with `tautline sizing --json`\.\n$/,
  );
  expect((await run('sizing', '--compare', small)).code).toBe(2);
});
