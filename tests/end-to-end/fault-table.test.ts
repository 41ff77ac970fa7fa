import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { faultDocument, faultTable, withoutNumbers } from './fault-table.js';

/** An open input without a pull-down: without moves, nothing in its signal tells it from a finger. */
const FLOATING = 'a wiper does not touch; no pull-down, the input keeps its charge';
const KNOWN = [`status: ${FLOATING}`];

it('says of every fault what docs/faults.md shows, and is right but where the page says otherwise', async () => {
  const rows = await faultTable();
  expect(rows.length).toBeGreaterThanOrEqual(40);
  const wrong = rows.flatMap(({ name, right }) =>
    (['check', 'status', 'doctor'] as const)
      .filter((which) => !right[which])
      .map((which) => `${which}: ${name}`),
  );
  expect(wrong).toEqual(KNOWN);
  const now = withoutNumbers(faultDocument(rows)).split('\n');
  expect(withoutNumbers(readFileSync('docs/faults.md', 'utf8')).split('\n')).toEqual(now);
}, 400_000);
