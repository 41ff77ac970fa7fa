/** Every file that names the version of the package, beside package-lock.json: how it stands there. */
interface Versioned {
  readonly file: string;
  /** The version is the part between. */
  readonly before: string;
  readonly after: string;
}

export const VERSIONED: readonly Versioned[] = [
  { file: 'package.json', before: '\n  "version": "', after: '"' },
  { file: 'src/client/csharp/package.json', before: '\n  "version": "', after: '"' },
  { file: 'src/client/csharp/Tautline.Client.csproj', before: '<Version>', after: '</Version>' },
  { file: 'src/client/cpp/cmake/tautlineConfigVersion.cmake', before: 'set(PACKAGE_VERSION "', after: '")' },
  { file: 'src/client/python/pyproject.toml', before: '\nversion = "', after: '"' },
  { file: 'src/client/python/tautline_client.py', before: '\n__version__ = "', after: '"' },
];

/** @throws Error if the file names none, or several */
export function versionIn(text: string, { file, before, after }: Versioned): string {
  const parts = text.split(before);
  if (parts.length !== 2) throw new Error(`${file} names its version ${parts.length - 1} times.`);
  return parts[1].slice(0, parts[1].indexOf(after));
}

export function withVersion(text: string, versioned: Versioned, version: string): string {
  const { before, after } = versioned;
  return text.replace(`${before}${versionIn(text, versioned)}${after}`, () => `${before}${version}${after}`);
}
