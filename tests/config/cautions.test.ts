import { expect, it } from 'vitest';
import { cautionsOf } from '../../src/config/cautions.js';
import { parseProfile } from '../../src/config/load.js';

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
it('warns of a servo that pulls harder than the cap, which nothing then enforces', () => {
  const [line, ...more] = cautionsOf(profile('stallTorqueNm: 0.15, spoolRadiusMm: 10'));
  expect(line).toContain('the index servo pulls up to 15.0 N, more than the 8 N');
  expect(more).toEqual([]);
});

it('has nothing to say of one that cannot, that obeys, or that does not pull', () => {
  expect(cautionsOf(profile('stallTorqueNm: 0.15'))).toEqual([]);
  expect(cautionsOf(profile('stallTorqueNm: 0.15, spoolRadiusMm: 10, torqueControl: true'))).toEqual([]);
  expect(cautionsOf(profile('kind: brake, stallTorqueNm: 0.15, spoolRadiusMm: 10'))).toEqual([]);
});
