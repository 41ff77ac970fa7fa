import { expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import { cautionLine, cautionsOf } from '../../src/resistance/cautions.js';

const lines = (actuator: string) => cautionsOf(profile(actuator)).map(cautionLine);
const profile = (actuator: string) =>
  parseProfile(
    `profile: 1
gloves:
  - name: strong
    hand: right
    link: { kind: simulated }
    channels: [{ role: index.curl, open: 0, closed: 4000 }]
    actuators: [{ role: index, ${actuator} }]
`,
    'strong.yaml',
  );

// A 9 g hobby servo stalls near 0.15 N m at 4.8 V: common practice, no source.
it('says that a finger stays free whose servo pulls harder than the cap', () => {
  const [line, ...more] = lines('stallTorqueNm: 0.15, spoolRadiusMm: 10');
  expect(line).toMatch(
    /^strong: index stays free: the servo pulls up to 15 N .*, more than the 8 N .* Use a spoolRadiusMm/,
  );
  expect(more).toEqual([]);
});

it('reckons a servo and a brake on one finger together, as the governor does', () => {
  const half = 'stallTorqueNm: 0.1, spoolRadiusMm: 20';
  expect(lines(half)).toEqual([]);
  expect(lines(`${half} }, { role: index, kind: brake, ${half}`)[0]).toContain(
    'index stays free: the servo and what acts beside it pull up to 10 N together',
  );
});

it('says when the supply cannot feed all servos at once', () => {
  expect(lines('stallCurrentA: 2.5 }, { role: ring, stallCurrentA: 2')).toEqual([
    'strong: its servos can draw 4.5 A together, more than the 4 A of safety.maxSupplyA: when all are held, some are ' +
      'let go. Use a stronger supply and say so there.',
  ]);
});

it('says of one that the supply cannot feed even alone that it is never used, and reckons the others without it', () => {
  expect(lines('stallCurrentA: 4.5 }, { role: ring, stallCurrentA: 2')).toEqual([
    'strong: index stays free: the servo alone can draw 4.5 A (stallCurrentA), more than the 4 A of safety.maxSupplyA. ' +
      'Use a stronger supply and say so there, or a servo that draws less.',
  ]);
});

it('has nothing to say of one that cannot, that obeys, or that does not pull', () => {
  expect(lines('stallTorqueNm: 0.15')).toEqual([]);
  expect(lines('stallTorqueNm: 0.15, spoolRadiusMm: 10, torqueControl: true')).toEqual([]);
  expect(lines('kind: brake, stallTorqueNm: 0.15, spoolRadiusMm: 10')).toEqual([]);
});
