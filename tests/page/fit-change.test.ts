import { expect, it } from 'vitest';
import { changesByFit, medianOf } from '../../src/page/fit-change.js';

it('says how far off the range before read the open and the closed hand of the fit', () => {
  const before = new Map([
    ['index.curl', { open: 500, closed: 2500 }],
    // Soldered the other way round.
    ['ring.curl', { open: 3000, closed: 1000 }],
    ['little.curl', { open: 700, closed: 700 }],
  ]);
  const fitted = [
    // By hand: (600 - 500) / 2000 = 5 % at the open end, (2400 - 500) / 2000 - 1 = -5 % at the closed one.
    { role: 'index.curl', open: 600, closed: 2400 },
    // By hand: (3000 - 3000) / -2000 = 0, (1400 - 3000) / -2000 - 1 = -20 %.
    { role: 'ring.curl', open: 3000, closed: 1400 },
    { role: 'little.curl', open: 1, closed: 2 },
    { role: 'middle.curl', open: 1, closed: 2 },
  ];
  const changes = changesByFit(fitted, before);
  expect(changes.map(({ role }) => role)).toEqual(['index.curl', 'ring.curl']);
  expect(changes[0].off).toBeCloseTo(0.05, 12);
  expect(changes[1].off).toBeCloseTo(0.2, 12);
});

it('takes the middle', () => {
  expect(medianOf([])).toBeUndefined();
  expect(medianOf([3])).toBe(3);
  expect(medianOf([5, 1, 3])).toBe(3);
  expect(medianOf([4, 1, 3, 2])).toBe(2.5);
});
