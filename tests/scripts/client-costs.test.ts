import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { type Language, linesOf, PROGRAMS } from '../../scripts/client-costs/lines.js';

/** The rest of the table takes minutes, and a machine of its own: npx tsx scripts/client-costs.ts --write. */
it.each(Object.keys(PROGRAMS) as Language[])(
  'the table of what %s costs has the lines of its guide',
  (language) => {
    const row = readFileSync('docs/write-an-app.md', 'utf8')
      .split('\n')
      .find((line) => line.startsWith(`| ${language} |`))!;
    const [hand, ball, allocated] = row
      .split('|')
      .slice(2)
      .map((cell) => cell.trim());
    expect([hand, ball]).toEqual([`${linesOf(language, 'hand')}`, `${linesOf(language, 'ball')}`]);
    // Held to by clients-csharp, clients-grab and client/allocation.
    if (language === 'C#' || language === 'C++') expect(allocated).toBe('0 bytes');
  },
);
