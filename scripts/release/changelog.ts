/** The heading under which changes are gathered, in the form of Keep a Changelog 1.1.0. */
const UNRELEASED = /^## \[Unreleased\][^\n]*\n/im;
const NEXT_HEADING = /^## /m;

/**
 * A changelog whose unreleased changes are those of a version; an empty heading for what comes next stays above.
 * @param date such as 2026-11-28
 * @throws Error with one line when there is nothing to release
 */
export function releaseChanges(changelog: string, version: string, date: string): string {
  const heading = UNRELEASED.exec(changelog);
  if (!heading) throw new Error('CHANGELOG.md has no heading "## [Unreleased]".');
  if (changelog.includes(`## [${version}]`))
    throw new Error(`CHANGELOG.md has a version ${version} already.`);
  const before = changelog.slice(0, heading.index);
  const rest = changelog.slice(heading.index + heading[0].length);
  const end = NEXT_HEADING.exec(rest)?.index ?? rest.length;
  const changes = rest.slice(0, end).trim();
  if (!/^- /m.test(changes)) throw new Error('CHANGELOG.md has no change under "## [Unreleased]".');
  const older = rest.slice(end);
  const released = `## [${version}] - ${date}\n\n${changes}\n`;
  return `${before}## [Unreleased]\n\n${released}${older === '' ? '' : `\n${older}`}`;
}
