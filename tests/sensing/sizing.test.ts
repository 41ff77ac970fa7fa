import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { type FigureName, SIZING_DEFAULTS, type SizingInput, sizeGlove } from '../../src/sensing/sizing.js';
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
    warnings: [expect.stringMatching(/^Over-range/), expect.anything(), expect.anything(), expect.anything()],
  });
  const wrong = await run('sizing', '--bits', '40');
  expect(wrong.code).toBe(2);
  expect(wrong.stderr).toMatch(/--bits <n>.*from 6 to 16/);
  const sheet = await run('sizing', '--torque', '1.5');
  expect(sheet.code).toBe(2);
  expect(sheet.stderr).toMatch(/--torque <Nm>.*did you mean kg·cm, .* 1\.5 kg·cm is 0\.147 N·m/);
});
