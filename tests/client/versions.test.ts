import { execFileSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { expect, test } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { VERSIONED, versionIn, withVersion } from '../../scripts/release/versioned.js';

test.each(VERSIONED)('$file is of the version of the package', (one) => {
  const text = readFileSync(one.file, 'utf8');
  expect(versionIn(text, one)).toBe(packageJson.version);
  expect(versionIn(withVersion(text, one, '12.3.4'), one)).toBe('12.3.4');
});

test('no other file of the clients names it', () => {
  const files = readdirSync('src/client', { recursive: true, encoding: 'utf8' })
    .map((name) => `src/client/${name.replaceAll('\\', '/')}`)
    .filter((file) => statSync(file).isFile() && readFileSync(file, 'utf8').includes(packageJson.version));
  const known = VERSIONED.map(({ file }) => file).filter((file) => file.startsWith('src/client/'));
  // 127.0.0.1 and the like.
  expect(files.filter((file) => !known.includes(file) && namesVersion(file))).toEqual([]);
});
const namesVersion = (file: string): boolean =>
  new RegExp(`(?<![\\d.])${packageJson.version.replaceAll('.', '\\.')}(?![\\d.]\\d)`).test(
    readFileSync(file, 'utf8'),
  );

test('licences agree', () => {
  const csharp = JSON.parse(readFileSync('src/client/csharp/package.json', 'utf8'));
  expect(csharp.license).toBe(packageJson.license);
  expect(readFileSync('src/client/python/pyproject.toml', 'utf8')).toContain(
    `license = "${packageJson.license}"`,
  );
});

test('their sources are in the package, and nothing else of theirs', () => {
  const [{ files }] = JSON.parse(
    execFileSync('npm', ['pack', '--dry-run', '--json', '--ignore-scripts'], {
      encoding: 'utf8',
      shell: process.platform === 'win32',
    }),
  ) as [{ files: { path: string }[] }];
  const paths = files.map(({ path }) => path);
  for (const path of [
    'src/client/cpp/tautline_client.hpp',
    'src/client/cpp/tautline_loop.hpp',
    'src/client/cpp/tautline_error.hpp',
    'src/client/cpp/tautline_grab.hpp',
    'src/client/cpp/tautline_shapes.hpp',
    'src/client/cpp/cmake/tautlineConfig.cmake',
    'src/client/cpp/cmake/tautlineConfigVersion.cmake',
    'src/client/cpp/link/websocket.hpp',
    'src/client/csharp/package.json',
    'src/client/csharp/Tautline.Client.csproj',
    'src/client/csharp/Example/Tip.cs',
    'src/client/csharp/Samples~/Hand/GloveHand.cs',
    'src/client/csharp/Samples~/Hand/Tautline.Samples.Hand.asmdef',
    'src/client/csharp/Runtime/Grab.cs',
    'src/client/csharp/Runtime/Tautline.Client.asmdef',
    'src/client/csharp/Runtime/TautlineClient.cs',
    'src/client/python/tautline_client.py',
    'src/client/python/tautline_grab.py',
    'src/client/python/tautline_build.py',
    'src/client/python/pyproject.toml',
    'src/client/python/examples/curls.py',
  ]) {
    expect(existsSync(path)).toBe(true);
    expect(paths).toContain(path);
  }
  const strange = paths.filter(
    (path) =>
      /^src\/client\/(cpp|csharp|python)\//.test(path) &&
      !/\.(hpp|cpp|cmake|cs|csproj|py|asmdef)$|package\.json$|pyproject\.toml$/.test(path),
  );
  expect(strange).toEqual([]);
});
