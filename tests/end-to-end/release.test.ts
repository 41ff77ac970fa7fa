import { execFileSync, spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { nextVersion } from '../../scripts/release/version.js';
import { VERSIONED, versionIn } from '../../scripts/release/versioned.js';

/** A release is made in a copy of this tree, with a history of its own. */
let clone: string;
const version = nextVersion(packageJson.version, 'minor');
const inClone = (command: string, ...args: string[]) =>
  spawnSync(command, args, { cwd: clone, encoding: 'utf8', env: { ...process.env, ...AUTHOR } });
const git = (...args: string[]): string => inClone('git', ...args).stdout;
const release = (...args: string[]) => inClone('npm', 'run', '--silent', 'release', '--', ...args);
const AUTHOR = {
  GIT_AUTHOR_NAME: 'Kim',
  GIT_AUTHOR_EMAIL: 'kim@example.org',
  GIT_COMMITTER_NAME: 'Kim',
  GIT_COMMITTER_EMAIL: 'kim@example.org',
};

beforeAll(() => {
  clone = mkdtempSync(join(tmpdir(), 'tautline-clone-'));
  const list = ['ls-files', '-z', '--cached', '--others', '--exclude-standard'];
  for (const file of execFileSync('git', list, { encoding: 'utf8' }).split('\0')) {
    if (file !== '' && existsSync(file)) cpSync(file, join(clone, file));
  }
  symlinkSync(resolve('node_modules'), join(clone, 'node_modules'));
  const changelog = join(clone, 'CHANGELOG.md');
  const text = readFileSync(changelog, 'utf8');
  writeFileSync(changelog, text.replace('## [Unreleased]\n', '## [Unreleased]\n\n- A change.\n'));
  git('init', '--quiet', '--initial-branch', 'main');
  git('add', '--all');
  git('commit', '--quiet', '--message', 'All of it');
}, 60_000);
afterAll(() => rmSync(clone, { recursive: true, force: true }));

describe('npm run release', () => {
  it('does all of it in a dry run, and leaves the tree as it was', () => {
    const { status, stdout, stderr } = release('minor', '--dry-run');
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    expect(stdout).toContain(
      `${packageJson.version} -> ${version}: package.json, src/client/csharp/package.json, `,
    );
    expect(stdout).toMatch(new RegExp(`Packed: tautline-${version}\\.tgz, \\d\\.\\d MB`));
    expect(stdout).toContain(`tautline --version: ${version}\n  a hand of 26 joints on the stream\n`);
    expect(stdout).toContain('A dry run: the tree is as it was.');
    expect(git('status', '--porcelain')).toBe('');
    expect(existsSync(join(clone, `tautline-${version}.tgz`))).toBe(false);
  }, 300_000);

  it('otherwise leaves a tarball, a tree with the version, and what to do next; nothing is tagged or committed', () => {
    const { status, stdout } = release(version);
    expect(status).toBe(0);
    expect(stdout).toContain(`npm publish ./tautline-${version}.tgz`);
    expect(existsSync(join(clone, `tautline-${version}.tgz`))).toBe(true);
    expect(git('tag')).toBe('');
    expect(git('log', '--oneline').trim().split('\n')).toHaveLength(1);
    const changed = git('diff', '--name-only').trim().split('\n');
    expect(changed).toEqual(
      expect.arrayContaining([
        'CHANGELOG.md',
        'README.md',
        'docs/install.md',
        'package-lock.json',
        'package.json',
      ]),
    );
    for (const one of VERSIONED)
      expect(versionIn(readFileSync(join(clone, one.file), 'utf8'), one)).toBe(version);
    for (const file of ['package-lock.json', 'README.md', 'docs/install.md'])
      expect(readFileSync(join(clone, file), 'utf8')).toContain(version);
    expect(readFileSync(join(clone, 'CHANGELOG.md'), 'utf8')).toMatch(
      new RegExp(`^## \\[${version.replaceAll('.', '\\.')}\\] - \\d{4}-\\d\\d-\\d\\d\n\n- A change\\.`, 'm'),
    );

    // Now it is a tree with changes.
    expect(release('patch', '--dry-run')).toMatchObject({
      status: 1,
      stderr: 'release: The tree has changes that are not committed, such as CHANGELOG.md.\n',
    });
    git('checkout', '--', '.');
  }, 300_000);

  it.each([
    [['0.0.1'], `release: 0.0.1 is not beyond ${packageJson.version}, which package.json has.\n`],
    [['soon'], 'release: soon is no version such as 1.2.3; or say patch, minor, major.\n'],
    [[], 'release: Say which version: npm run release -- VERSION|patch|minor|major [--dry-run]\n'],
  ])('%j is refused in one line', (args, line) => {
    expect(release(...args)).toMatchObject({ status: 1, stdout: '', stderr: line });
  });

  it('is made from main alone', () => {
    git('switch', '--quiet', '--create', 'other');
    expect(release('patch').stderr).toBe('release: This is other; releases are made from main.\n');
  });
});
