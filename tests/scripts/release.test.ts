import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { releaseChanges } from '../../scripts/release/changelog.js';
import { compareVersions, nextVersion } from '../../scripts/release/version.js';

describe('versions', () => {
  // The example of precedence in Semantic Versioning 2.0.0, item 11.
  it('come in the order of Semantic Versioning', () => {
    const ordered = ['1.0.0', '2.0.0', '2.1.0', '2.1.1'];
    expect(ordered.toReversed().sort(compareVersions)).toEqual(ordered);
    expect(compareVersions('1.9.0', '1.10.0')).toBeLessThan(0);
    expect(compareVersions('1.11.0', '1.10.0')).toBeGreaterThan(0);
  });

  // Items 6 to 8: what stands behind the number that grows is set to 0.
  it.each([
    ['1.4.7', 'patch', '1.4.8'],
    ['1.4.7', 'minor', '1.5.0'],
    ['1.4.7', 'major', '2.0.0'],
    ['0.1.0', 'minor', '0.2.0'],
    ['0.9.9', 'minor', '0.10.0'],
    ['0.1.0', '0.3.0', '0.3.0'],
  ])('%s, %s: %s', (present, asked, next) => expect(nextVersion(present, asked)).toBe(next));

  it('grow, whatever is asked', () => {
    const number = fc.nat(50);
    fc.assert(
      fc.property(number, number, number, fc.constantFrom('patch', 'minor', 'major'), (a, b, c, part) => {
        const present = `${a}.${b}.${c}`;
        expect(compareVersions(nextVersion(present, part), present)).toBeGreaterThan(0);
      }),
    );
  });

  // Item 2 forbids leading zeroes.
  it.each(['1.2', 'v1.2.3', '1.02.3', '1.2.3-rc.1', 'Minor', '', '1.2.3.4'])('%j is none', (asked) => {
    expect(() => nextVersion('0.1.0', asked)).toThrow(
      `${asked} is no version such as 1.2.3; or say patch, minor, major.`,
    );
  });

  it.each(['0.1.0', '0.0.9'])('%s is not beyond 0.1.0', (asked) => {
    expect(() => nextVersion('0.1.0', asked)).toThrow(`${asked} is not beyond 0.1.0`);
  });
});

const HEAD = '# Changelog\n\nAll that users notice.\n\n';
const CHANGES = '### Added\n\n- A thing\n  on two lines.\n\n### Removed\n\n- Another.\n';
const OLDER = '## [0.1.0] - 2026-01-02\n\n### Added\n\n- All of it.\n';

describe('the changelog', () => {
  it('gives the unreleased changes a version and a date, and keeps a place for what comes next', () => {
    const released = releaseChanges(`${HEAD}## [Unreleased]\n\n${CHANGES}\n${OLDER}`, '0.2.0', '2026-11-28');
    expect(released).toBe(`${HEAD}## [Unreleased]\n\n## [0.2.0] - 2026-11-28\n\n${CHANGES}\n${OLDER}`);
  });

  it('needs no older version', () => {
    expect(releaseChanges(`${HEAD}## [Unreleased]\n\n${CHANGES}`, '0.2.0', '2026-11-28')).toBe(
      `${HEAD}## [Unreleased]\n\n## [0.2.0] - 2026-11-28\n\n${CHANGES}`,
    );
  });

  it.each([
    [`${HEAD}${OLDER}`, 'no heading "## [Unreleased]"'],
    [`${HEAD}## [Unreleased]\n\n${OLDER}`, 'no change under "## [Unreleased]"'],
    [`${HEAD}## [Unreleased]\n\n### Added\n\n${OLDER}`, 'no change under "## [Unreleased]"'],
    [`${HEAD}## [Unreleased]\n\n${CHANGES}\n## [0.2.0] - 2026-02-03\n`, 'a version 0.2.0 already'],
  ])('is refused when there is nothing to release: %#', (text, why) => {
    expect(() => releaseChanges(text, '0.2.0', '2026-11-28')).toThrow(why);
  });

  it('of this project has the form that is released', () => {
    const own = readFileSync('CHANGELOG.md', 'utf8');
    // No line is lost or made up but the new heading, and a second release finds nothing.
    const released = releaseChanges(
      own.replace('## [Unreleased]\n', '## [Unreleased]\n\n- A test.\n'),
      '9.9.9',
      '2026-11-28',
    );
    const lines = (text: string) => text.split('\n').filter(Boolean).sort();
    expect(lines(released)).toEqual(lines(`${own}\n- A test.\n## [9.9.9] - 2026-11-28`));
    expect(() => releaseChanges(released, '9.9.10', '2026-11-29')).toThrow('no change');
  });
});
