import { describe, expect, it } from 'vitest';
import {
  bytesText,
  clockText,
  roleText,
  sentence,
  sideText,
  verdictText,
} from '../../../src/page/parts/words.js';
import { REMEDY } from '../../../src/sensing/health/verdicts.js';

const VERDICTS = ['healthy', ...Object.keys(REMEDY)];

describe('words of the page', () => {
  it('has a word for every verdict of the service', () => {
    for (const verdict of VERDICTS) expect(verdictText(verdict)).toMatch(/^[A-Z][a-z -]+$/);
    expect(new Set(VERDICTS.map(verdictText)).size).toBe(VERDICTS.length);
  });
  it('begins a sentence with a capital letter, and quotes what stands in the profile', () => {
    expect(['set `open`', 'H', ''].map(sentence)).toEqual(['Set “open”', 'H', '']);
  });
  it('shows a name that it does not know as it is', () => {
    expect(verdictText('somethingNew')).toBe('somethingNew');
  });
  it.each([
    ['index.curl', 'Index curl'],
    ['thumb.cmc', 'Thumb CMC'],
    ['stick.x', 'Stick x'],
    ['wristTwist', 'Wrist twist'],
  ])('%s is written %s', (role, text) => expect(roleText(role)).toBe(text));
  it('names the hands', () => {
    expect([sideText('left'), sideText('right')]).toEqual(['Left hand', 'Right hand']);
  });
  it.each([
    [0, '0 B'],
    [999, '999 B'],
    [1000, '1 kB'],
    [12_400, '12 kB'],
    [999_499, '999 kB'],
    [999_999, '1.0 MB'],
    [88_900_000, '88.9 MB'],
    [2_100_000_000, '2.1 GB'],
  ])('%i bytes are %s', (bytes, text) => expect(bytesText(bytes)).toBe(text));
  it.each([
    [-0.1, '0:00'],
    [59.99, '0:59'],
    [75.4, '1:15'],
    [3600, '1:00:00'],
    [86_399, '23:59:59'],
  ])('%d s are %s', (seconds, text) => expect(clockText(seconds)).toBe(text));
});
