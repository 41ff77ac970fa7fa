import { execFileSync } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };

const { version } = packageJson;

test('clients in other languages are of the version of the package', () => {
  const csharp = JSON.parse(readFileSync('src/client/csharp/package.json', 'utf8'));
  expect(csharp.version).toBe(version);
  expect(csharp.license).toBe(packageJson.license);
  expect(readFileSync('src/client/python/tautline_client.py', 'utf8')).toContain(
    `__version__ = "${version}"`,
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
    'src/client/cpp/link/websocket.hpp',
    'src/client/csharp/package.json',
    'src/client/csharp/Example/Tip.cs',
    'src/client/csharp/Runtime/TautlineClient.cs',
    'src/client/python/tautline_client.py',
  ]) {
    expect(existsSync(path)).toBe(true);
    expect(paths).toContain(path);
  }
  const strange = paths.filter(
    (path) =>
      /^src\/client\/(cpp|csharp|python)\//.test(path) &&
      !/\.(hpp|cpp|cs|py|asmdef)$|package\.json$/.test(path),
  );
  expect(strange).toEqual([]);
});
