import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { OUTPUTS } from '../../scripts/generate.js';

test.each(Object.keys(OUTPUTS))('%s is what npm run generate writes', (path) => {
  expect(readFileSync(path, 'utf8')).toBe(OUTPUTS[path]!());
});
