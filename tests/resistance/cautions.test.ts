import { expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import { cautionsOf } from '../../src/resistance/cautions.js';

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
  const [line, ...more] = cautionsOf(profile('stallTorqueNm: 0.15, spoolRadiusMm: 10'));
  expect(line).toContain('index stays free: the servo pulls up to 15.0 N, more than the 8 N');
  expect(more).toEqual([]);
});

it('reckons a servo and a brake on one finger together, as the governor does', () => {
  const half = 'stallTorqueNm: 0.1, spoolRadiusMm: 20';
  expect(cautionsOf(profile(half))).toEqual([]);
  expect(cautionsOf(profile(`${half} }, { role: index, kind: brake, ${half}`))[0]).toContain(
    'index stays free: the servo pulls up to 10.0 N',
  );
});

it('says when the supply cannot feed all servos at once', () => {
  expect(cautionsOf(profile('stallCurrentA: 4.5'))).toEqual([
    'strong: its servos can draw 4.5 A together, more than the 4 A of safety.maxSupplyA: when all are held, some are ' +
      'let go. Use a stronger supply and say so there.',
  ]);
});

it('has nothing to say of one that cannot, that obeys, or that does not pull', () => {
  expect(cautionsOf(profile('stallTorqueNm: 0.15'))).toEqual([]);
  expect(cautionsOf(profile('stallTorqueNm: 0.15, spoolRadiusMm: 10, torqueControl: true'))).toEqual([]);
  expect(cautionsOf(profile('kind: brake, stallTorqueNm: 0.15, spoolRadiusMm: 10'))).toEqual([]);
});
