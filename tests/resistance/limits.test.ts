import { expect, it } from 'vitest';
import { LIMIT_BIT, LIMIT_TEXT, LIMITS, limitNames } from '../../src/resistance/limits.js';

it('there is a bit and a line of text for every limit', () => {
  expect(limitNames(LIMITS.reduce((bits, name) => bits | LIMIT_BIT[name], 0))).toEqual([...LIMITS]);
  for (const name of LIMITS) expect(LIMIT_TEXT[name]).toMatch(/^[A-Z].*\.$/);
});
