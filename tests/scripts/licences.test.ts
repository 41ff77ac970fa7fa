import { existsSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { dependenciesPage, type LockFile, productionPackages } from '../../scripts/licences.js';
import { noticesOf, packagesInside } from '../../scripts/packages-inside.js';

const lock = JSON.parse(readFileSync('package-lock.json', 'utf8')) as LockFile;
const packages = productionPackages(lock);
const inside = await packagesInside();

it('docs/dependencies.md is up to date; if not: npm run licences', () => {
  expect(readFileSync('docs/dependencies.md', 'utf8')).toBe(dependenciesPage(lock, inside));
});

it('what comes with an installation permits use, change and sale, and asks for no more than its notice', () => {
  // SPDX identifiers of such licences; another one is to be read before it is added.
  const permissive = ['MIT', 'ISC', 'BSD-2-Clause', 'BSD-3-Clause', 'Apache-2.0', '0BSD', 'BlueOak-1.0.0'];
  for (const { name, licence } of [...packages, ...inside]) {
    const choices = licence.replace(/[()]/g, '').split(' OR ');
    expect(
      choices.some((choice) => permissive.includes(choice)),
      `${name}: ${licence}`,
    ).toBe(true);
  }
});

it('the lock file says of each package what the package says of itself', () => {
  let read = 0;
  for (const { name, place, version, licence } of packages) {
    const file = `${place}/package.json`;
    // Optional packages of other systems are not here.
    if (!existsSync(file)) continue;
    read++;
    const own = JSON.parse(readFileSync(file, 'utf8'));
    expect({ name: own.name, version: own.version }).toEqual({ name, version });
    expect(own.license?.type ?? own.license ?? own.licenses?.[0]?.type).toBe(licence);
  }
  expect(read).toBeGreaterThan(20);
});

it('what is inside the built files is found where it is, and its licences go along', () => {
  const names = inside.map(({ name }) => name);
  // The program, its compiled checks, the page.
  for (const name of ['fastify', 'pino', 'yaml', 'ajv', 'three']) expect(names).toContain(name);
  expect(names).not.toContain('serialport');
  const notices = noticesOf(inside);
  expect(readFileSync('dist/third-party-licences.txt', 'utf8')).toBe(notices);
  for (const { name, version } of inside) expect(notices).toContain(`\n${name} ${version}\n---`);
  // As the package `ws` words it.
  expect(notices).toContain('Copyright (c) 2011 Einar Otto Stangvik');
});
