import { expect, it } from 'vitest';
import { conclusionOf, fromShown, inUseText, shownValue, valueText } from '../../src/page/feel-words.js';
import { FEEL_RANGE, FEELS } from '../../src/resistance/wearer-feel.js';

const plain = (text: string) => text.replaceAll('\u00a0', ' ');

it('shows parts in percent and stiffness in its unit, and reads back what it shows', () => {
  expect(plain(valueText('effort', 0.35))).toBe('35 %');
  expect(plain(valueText('stiffness', 450))).toBe('450 N/m');
  for (const what of FEELS) {
    const { least, most } = FEEL_RANGE[what];
    for (const value of [least, most, (least + most) / 3]) {
      expect(fromShown(what, shownValue(what, value))).toBeCloseTo(value, what === 'stiffness' ? 0 : 4);
    }
  }
});

it('names what is in use, and nothing where nothing is', () => {
  expect(inUseText({})).toBeUndefined();
  expect(plain(inUseText({ effort: 0.35, stiffnessNPerM: 200 }) ?? '')).toBe(
    'effort 35 %, stiffness 200 N/m',
  );
});

it('says how often chance is as one-sided, and that a close result is none', () => {
  const found = { a: 0.35, b: 0.9, rounds: [] };
  const clear = conclusionOf('effort', { ...found, chosen: { a: 4, b: 0, same: 0 }, byChance: 0.125 });
  expect(clear.map(plain)).toEqual([
    '35 % was chosen 4 times, 90 % 0 times.',
    'Tossing a coin would be as one-sided 13 % of the time.',
  ]);
  const close = conclusionOf('effort', { ...found, chosen: { a: 2, b: 1, same: 1 }, byChance: 1 });
  expect(plain(close[0])).toBe('35 % was chosen twice, 90 % once, neither once.');
  expect(close[1]).toMatch(/more rounds, or values further apart/);
});
