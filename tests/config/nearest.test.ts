import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { editDistance, nearest } from '../../src/config/nearest.js';

describe('editDistance', () => {
  it.each([
    ['', '', 0],
    ['baud', '', 4],
    ['kitten', 'sitting', 3],
    ['saturday', 'sunday', 3],
    ['rigth', 'right', 1],
  ])('%s -> %s is %i', (a, b, distance) => {
    expect(editDistance(a, b)).toBe(distance);
  });

  it('is symmetric, 0 only for the same word, and at most the longer length', () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 12 }), fc.string({ maxLength: 12 }), (a, b) => {
        const distance = editDistance(a, b);
        expect(distance).toBe(editDistance(b, a));
        expect(distance === 0).toBe(a === b);
        expect(distance).toBeLessThanOrEqual(Math.max(a.length, b.length));
      }),
    );
  });
});

describe('nearest', () => {
  it('finds the word meant, whatever its case, and keeps quiet when none is near', () => {
    expect(nearest('Baudrate', ['baud', 'path'])).toBeUndefined();
    expect(nearest('BUAD', ['path', 'baud'])).toBe('baud');
    expect(nearest('x', ['a', 'b'])).toBeUndefined();
  });
});
