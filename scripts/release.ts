/**
 * `npm run release -- VERSION|patch|minor|major [--dry-run]`: makes a release up to where it becomes public, and says what
 * is left to do. It sets the version, dates the changelog, builds, packs, installs what it packed where nothing else is,
 * and tries it. It never tags, pushes or publishes. With --dry-run, or when a step fails, the tree is left as it was.
 */
import { execFileSync } from 'node:child_process';
import { copyFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { parseArgs } from 'node:util';
import { releaseChanges } from './release/changelog.js';
import { installPacked, pack } from './release/package.js';
import { smoke } from './release/smoke.js';
import { nextVersion } from './release/version.js';
import { VERSIONED, withVersion } from './release/versioned.js';

const USAGE = 'npm run release -- VERSION|patch|minor|major [--dry-run]';
const BRANCH = 'main';

/** Files that name the version, and what becomes of their text. */
type Changes = ReadonlyMap<string, string>;

const git = (...args: string[]): string => execFileSync('git', args, { encoding: 'utf8' }).trim();
const npm = (...args: string[]): void => {
  execFileSync('npm', args, { stdio: 'inherit', shell: process.platform === 'win32' });
};

/** @throws Error with one line */
function checkTree(): void {
  const branch = git('branch', '--show-current');
  if (branch !== BRANCH)
    throw new Error(`This is ${branch || 'no branch'}; releases are made from ${BRANCH}.`);
  const changed = git('status', '--porcelain').split('\n').filter(Boolean);
  if (changed.length > 0) {
    const file = changed[0].replace(/^\s*\S+\s+/, '');
    throw new Error(`The tree has changes that are not committed, such as ${file}.`);
  }
}

/** Every text that names the version, as it will be. */
function changesFor(present: string, version: string): Changes {
  const read = (file: string) => readFileSync(file, 'utf8');
  const json = (file: string, change: (data: PackageFile) => void): [string, string] => {
    const data = JSON.parse(read(file)) as PackageFile;
    change(data);
    return [file, `${JSON.stringify(data, null, 2)}\n`];
  };
  // The date of a release is that of Greenwich.
  const today = new Date().toISOString().slice(0, 10);
  const tarball = `tautline-${present}.tgz`;
  const documents = ['README.md', ...readdirSync('docs').map((name) => `docs/${name}`)]
    .filter((file) => file.endsWith('.md'))
    .filter((file) => read(file).includes(tarball));
  return new Map([
    ...VERSIONED.map((one): [string, string] => [one.file, withVersion(read(one.file), one, version)]),
    json('package-lock.json', (data) => {
      data.version = version;
      data.packages![''].version = version;
    }),
    ['CHANGELOG.md', releaseChanges(read('CHANGELOG.md'), version, today)],
    ...documents.map((file): [string, string] => [
      file,
      read(file).replaceAll(tarball, `tautline-${version}.tgz`),
    ]),
  ]);
}
interface PackageFile {
  version: string;
  packages?: Record<string, { version: string }>;
}

async function release(asked: string, dryRun: boolean): Promise<void> {
  checkTree();
  const { version: present } = JSON.parse(readFileSync('package.json', 'utf8')) as PackageFile;
  const version = nextVersion(present, asked);
  const changes = changesFor(present, version);

  const folder = mkdtempSync(join(tmpdir(), 'tautline-release-'));
  let made = false;
  const tidy = (): void => {
    rmSync(folder, { recursive: true, force: true });
    // The tree was clean: what differs is ours.
    if (!made) git('checkout', '--', '.');
  };
  process.once('SIGINT', () => {
    tidy();
    process.exit(130);
  });
  try {
    for (const [file, text] of changes) writeFileSync(file, text);
    console.log(`${present} -> ${version}: ${[...changes.keys()].join(', ')}`);
    npm('run', '--silent', 'licences');
    npm('run', '--silent', 'build');
    npm('run', '--silent', 'build:openxr', '--', '--windows');
    const packed = await pack(folder);
    console.log(`Packed: ${basename(packed.file)}, ${(packed.size / 1e6).toFixed(1)} MB`);
    const { command } = await installPacked(packed.file, join(folder, 'prefix'));
    console.log('Installed from it alone, without network. Tried:');
    for (const line of await smoke([command], version)) console.log(`  ${line}`);
    if (!dryRun) copyFileSync(packed.file, basename(packed.file));
    made = !dryRun;
  } finally {
    tidy();
  }
  console.log(dryRun ? '\nA dry run: the tree is as it was.' : nextSteps(version));
}

const nextSteps = (version: string): string => `
Nothing is public yet. Look at \`git diff\`, run \`npm test\`, then:

  git commit --all --message "Release ${version}"
  git tag --annotate v${version} --message "Tautline ${version}"
  git push origin ${BRANCH} v${version}
  npm publish ./tautline-${version}.tgz

Give the changelog's section of ${version} along, wherever the release is announced.`;

try {
  const { values, positionals } = parseArgs({
    options: { 'dry-run': { type: 'boolean', default: false } },
    allowPositionals: true,
  });
  if (positionals.length !== 1) throw new Error(`Say which version: ${USAGE}`);
  await release(positionals[0], values['dry-run']);
} catch (error) {
  console.error(`release: ${(error as Error).message}`);
  process.exitCode = 1;
}
