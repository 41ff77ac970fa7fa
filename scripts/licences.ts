import { readFileSync, writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';

/**
 * What comes with an installation: every package that the program needs to run, with its licence, from the lock file.
 * `npm run licences` writes docs/dependencies.md; a test says when it is out of date.
 */

/** The part of package-lock.json (version 3) that is read. */
export interface LockFile {
  packages: Record<
    string,
    {
      version?: string;
      license?: string;
      dev?: boolean;
      /** Needed for development, or by something optional. */
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
    .filter(([place, { dev, devOptional }]) => place !== '' && !dev && !devOptional)
    .map(([place, { version = '', license = 'unknown', optional = false }]) => ({
      name: place.replace(/^.*node_modules\//, ''),
      place,
      version,
      licence: license,
      optional,
    }))
    .sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : a.version < b.version ? -1 : 1));
}

export function dependenciesPage(lock: LockFile): string {
  const all = productionPackages(lock);
  const { dependencies = {}, optionalDependencies = {} } = lock.packages[''];
  const direct = [...Object.keys(dependencies), ...Object.keys(optionalDependencies)].sort();
  const licences = new Map<string, number>();
  for (const { licence } of all) licences.set(licence, (licences.get(licence) ?? 0) + 1);
  const needed = all.filter(({ optional }) => !optional).length;
  return `# What comes with an installation

Written by \`npm run licences\` from the lock file; do not edit.

An installation brings ${all.length} packages: ${needed} that the program needs, and ${all.length - needed} that come with an optional
package and may be missing. It asks for ${direct.length} of them itself: ${direct.join(', ')}.
Tautline itself is under the MIT licence.

| licence | packages |
|---|---|
${[...licences]
  .sort(([a, m], [b, n]) => n - m || (a < b ? -1 : 1))
  .map(([licence, count]) => `| ${licence} | ${count} |`)
  .join('\n')}

| package | version | licence | |
|---|---|---|---|
${all
  .map(
    ({ name, version, licence, optional }) =>
      `| ${name} | ${version} | ${licence} | ${optional ? 'optional' : ''} |`,
  )
  .join('\n')}
`;
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href) {
  const lock = JSON.parse(readFileSync('package-lock.json', 'utf8')) as LockFile;
  writeFileSync('docs/dependencies.md', dependenciesPage(lock));
}
