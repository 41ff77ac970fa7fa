import { readdirSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { floorPlanOf, floorPlanPicture, reduced } from '../scripts/floor-plan-picture.js';
import { readImports } from './floor-plan.js';

it('leaves out what follows from other arrows, and nothing else', () => {
  const edges: [string, string][] = [
    ['a', 'b'],
    ['b', 'c'],
    ['a', 'c'],
    ['a', 'd'],
  ];
  expect(reduced({ rooms: ['a', 'b', 'c', 'd'], edges }).edges).toEqual([
    ['a', 'b'],
    ['b', 'c'],
    ['a', 'd'],
  ]);
});

it('draws every room of src/ that a program imports, at most 26', () => {
  const { rooms } = floorPlanOf(readImports('src'));
  const folders = readdirSync('src', { withFileTypes: true }).filter((entry) => entry.isDirectory());
  const cpp = ['openxr', 'firmware'];
  expect(
    folders.map(({ name }) => name).filter((name) => !rooms.includes(name) && !cpp.includes(name)),
  ).toEqual([]);
  expect(folders.length).toBeLessThanOrEqual(26);
  const picture = floorPlanPicture();
  for (const room of rooms) expect(picture).toContain(`>${room}</text>`);
  // The file is written by `npm run generate`.
  expect(readFileSync('docs/floor-plan.svg', 'utf8')).toBe(picture);
});
