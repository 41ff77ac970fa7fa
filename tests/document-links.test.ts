import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { dirname, join, normalize } from 'node:path';
import { describe, expect, it } from 'vitest';

/** Whatever a document points to exists: files, headings, and the tests and sources that it names. */
const DOCUMENTS = [
  ...readdirSync('.').filter((name) => name.endsWith('.md')),
  ...readdirSync('docs', { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.md'))
    .map((name) => join('docs', name)),
  'src/firmware/README.md',
];

/** Text without blocks of code. */
const proseOf = (file: string): string => readFileSync(file, 'utf8').replace(/^```[\s\S]*?^```$/gm, '');

/** As the hosts of Git make them: small letters, no punctuation, a dash for each space. */
const anchorOf = (heading: string): string =>
  heading
    .toLowerCase()
    .replace(/[^\p{L}\p{N} _-]/gu, '')
    .replaceAll(' ', '-');
const anchorsOf = (file: string): string[] =>
  [...proseOf(file).matchAll(/^#+ (.+)$/gm)].map(([, heading]) => anchorOf(heading));

/** @returns what is wrong with a link, if anything */
function broken(from: string, link: string): string | undefined {
  const [path, anchor] = link.split('#');
  const file = path === '' ? from : normalize(join(dirname(from), path));
  if (!existsSync(file)) return `${link}: no such file`;
  if (anchor === undefined || statSync(file).isDirectory()) return undefined;
  return anchorsOf(file).includes(anchor) ? undefined : `${link}: no such heading`;
}

describe.each(DOCUMENTS)('%s', (file) => {
  const prose = proseOf(file);

  it('has no link that leads nowhere', () => {
    const links = [...prose.matchAll(/\]\(([^)\s]+)\)/g)].map(([, link]) => link);
    const own = links.filter((link) => !/^[a-z]+:/.test(link));
    expect(own.map((link) => broken(file, link)).filter(Boolean)).toEqual([]);
  });

  it('names only files that are there', () => {
    const named = [...prose.matchAll(/`((?:tests|src|scripts|config|docs)\/[\w./-]+\.\w+)`/g)].map(
      ([, path]) => path,
    );
    // The contributor's guide names sources from src/ on; what is only built is left out.
    const absent = named.filter((path) => !path.includes('/build/') && !existsSync(path));
    expect(absent.filter((path) => !existsSync(join('src', path)))).toEqual([]);
  });
});

it('finds a link that leads nowhere', () => {
  expect(broken('README.md', 'docs/none.md')).toBe('docs/none.md: no such file');
  expect(broken('README.md', 'docs/safety.md#no-such-thing')).toBe(
    'docs/safety.md#no-such-thing: no such heading',
  );
  expect(broken('docs/safety.md', '../README.md#cautions')).toBeUndefined();
});

describe('decisions', () => {
  const FOLDER = 'docs/decisions';
  const pages = readdirSync(FOLDER).filter((name) => name !== 'README.md');

  it('are all in the index', () => {
    expect(pages.length).toBeGreaterThanOrEqual(10);
    const index = readFileSync(join(FOLDER, 'README.md'), 'utf8');
    for (const page of pages) expect(index).toContain(`](${page})`);
  });

  it.each(pages)('%s says what was asked, chosen, weighed and paid, and what shows it', (page) => {
    const text = readFileSync(join(FOLDER, page), 'utf8');
    const headings = [...text.matchAll(/^## (.+)$/gm)].map(([, heading]) => heading);
    expect(headings).toEqual(['Context', 'Decision', 'Considered instead', 'Consequences', 'Checked by']);
    // A page: read in a few minutes.
    expect(text.split('\n').length).toBeLessThan(75);
    // Each is held up by a test or a command.
    expect(text.split('## Checked by')[1]).toMatch(/`tests\/[\w/-]+\.test\.ts`/);
  });
});
