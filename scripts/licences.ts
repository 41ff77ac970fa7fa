import { readFileSync, writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import { type InsidePackage, packagesInside } from './packages-inside.js';

/**
 * What of others comes with an installation, with its licence: the packages that npm installs beside the program, from
 * the lock file, and those that are inside its files. `npm run licences` writes docs/dependencies.md; a test says when
 * it is out of date.
 */

/** The part of package-lock.json (version 3) that is read. */
export interface LockFile {
  packages: Record<
    string,
    {
      version?: string;
      license?: string;
      dev?: boolean;
      /** Needed by something optional, and for development, too. */
      devOptional?: boolean;
      optional?: boolean;
      dependencies?: Record<string, string>;
      optionalDependencies?: Record<string, string>;
    }
  >;
}

export interface Package {
  name: string;
  /** Where it is put, below the root. */
  place: string;
  version: string;
  licence: string;
  /** The program runs without it. */
  optional: boolean;
}

/** Every package of an installation without development dependencies, by name. */
export function productionPackages({ packages }: LockFile): Package[] {
  return Object.entries(packages)
    .filter(([place, { dev }]) => place !== '' && !dev)
    .map(([place, { version = '', license = 'unknown', optional = false, devOptional = false }]) => ({
      name: place.replace(/^.*node_modules\//, ''),
      place,
      version,
      licence: license,
      optional: optional || devOptional,
    }))
    .sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : a.version < b.version ? -1 : 1));
}

export function dependenciesPage(lock: LockFile, inside: readonly InsidePackage[]): string {
  const beside = productionPackages(lock);
  const { dependencies = {}, optionalDependencies = {} } = lock.packages[''];
  const direct = [...Object.keys(dependencies), ...Object.keys(optionalDependencies)].sort();
  const licences = new Map<string, number>();
  for (const { licence } of [...beside, ...inside]) licences.set(licence, (licences.get(licence) ?? 0) + 1);
  const needed = beside.filter(({ optional }) => !optional).length;
  return `# What comes with an installation

Written by \`npm run licences\`; do not edit.

Tautline itself is under the MIT licence. Copies of ${inside.length} packages, in whole or in part, are inside its files, just as
they were tested; their licences go along in \`dist/third-party-licences.txt\`. Another ${needed} come along beside them, also as
they were tested. And npm looks for ${beside.length - needed} that come with an optional package, of which the program can do
without. Asked for are ${direct.join(', ')}.

| licence | packages |
|---|---|
${[...licences]
  .sort(([a, m], [b, n]) => n - m || (a < b ? -1 : 1))
  .map(([licence, count]) => `| ${licence} | ${count} |`)
  .join('\n')}

## Inside

| package | version | licence |
|---|---|---|
${inside.map(({ name, version, licence }) => `| ${name} | ${version} | ${licence} |`).join('\n')}

## Beside

| package | version | licence | |
|---|---|---|---|
${beside
  .map(
    ({ name, version, licence, optional }) =>
      `| ${name} | ${version} | ${licence} | ${optional ? 'optional' : ''} |`,
  )
  .join('\n')}
`;
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href) {
  const lock = JSON.parse(readFileSync('package-lock.json', 'utf8')) as LockFile;
  writeFileSync('docs/dependencies.md', dependenciesPage(lock, await packagesInside()));
}
