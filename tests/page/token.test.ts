import { describe, expect, it } from 'vitest';
import { tokenInAddress } from '../../src/page/token.js';

describe('the token in the address', () => {
  it.each([
    ['', '', undefined, ''],
    ['', '#fit', undefined, '#fit'],
    ['?token=a%2Bb', '', 'a+b', ''],
    ['?token=abc', '#touch', 'abc', '#touch'],
    ['?x=1&token=abc', '', 'abc', '?x=1'],
    ['', '#token=abc', 'abc', ''],
    ['?token=abc', '#token=other', 'abc', ''],
  ])('%j %j gives %j and leaves %j', (search, hash, token, rest) => {
    expect(tokenInAddress(search, hash)).toEqual({ token, rest });
  });
});
