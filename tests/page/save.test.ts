import { expect, it } from 'vitest';
import { tableText } from '../../src/page/save.js';

// RFC 4180, 2.5 to 2.7: fields with commas, quotes or line breaks are quoted, and a quote is doubled.
it('writes CSV as RFC 4180 has it', () => {
  const rows = [
    ['1,5', 'say "no"'],
    ['two\nlines', 'plain'],
  ];
  expect(tableText(['a', 'b'], rows)).toBe(
    ['a,b', '"1,5","say ""no"""', '"two\nlines",plain', ''].join('\r\n'),
  );
});
