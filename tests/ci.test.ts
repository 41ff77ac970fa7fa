import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { parseDocument } from 'yaml';
import packageJson from '../package.json' with { type: 'json' };

/** The file for continuous integration has not been run yet, so what it would run is compared with what there is. */
const FILE = '.github/workflows/ci.yml';

interface Step {
  run?: string;
  uses?: string;
  with?: Record<string, unknown>;
}
interface Job {
  'runs-on': string;
  strategy: { matrix: { node: number[]; system?: string[] } };
  steps: Step[];
}
const document = parseDocument(readFileSync(FILE, 'utf8'), { strict: true, uniqueKeys: true });
const { jobs, on, permissions } = document.toJS() as {
  jobs: Record<'linux' | 'elsewhere', Job>;
  on: Record<string, unknown>;
  permissions: unknown;
};
const commands = Object.values(jobs).flatMap(({ steps }) => steps.flatMap(({ run }) => run ?? []));

/** Why a command cannot be run; undefined when it can. */
function missing(command: string): string | undefined {
  const script = /^npm (?:run (?:--silent )?)?(\S+)$/.exec(command)?.[1];
  if (script === 'ci') return undefined;
  if (script !== undefined) return script in packageJson.scripts ? undefined : `no script ${script}`;
  if (/^sudo apt-get (update|install --yes --no-install-recommends [a-z0-9+. -]+)$/.test(command))
    return undefined;
  return existsSync(command) ? undefined : `no program ${command}`;
}

describe(FILE, () => {
  it('is YAML, and runs for every change', () => {
    expect([...document.errors, ...document.warnings]).toEqual([]);
    expect(Object.keys(on).sort()).toEqual(['pull_request', 'push']);
    expect(permissions).toEqual({ contents: 'read' });
  });

  it('covers three systems, and every Node that the program is said to run on', () => {
    expect(jobs.linux['runs-on']).toMatch(/^ubuntu/);
    expect(jobs.elsewhere.strategy.matrix.system?.map((name) => name.split('-')[0])).toEqual([
      'macos',
      'windows',
    ]);
    for (const { strategy } of Object.values(jobs)) expect(strategy.matrix.node).toEqual([20, 22, 24]);
    expect(packageJson.engines.node).toBe('>=20.0.0');
  });

  it('runs only what exists', () => {
    expect(commands.length).toBeGreaterThan(6);
    for (const command of commands) expect(missing(command), command).toBeUndefined();
    expect(missing('npm run no-such-script')).toBe('no script no-such-script');
    expect(missing('make')).toBe('no program make');
  });

  it('does on Linux what the README and .ci/run do', () => {
    const own = jobs.linux.steps.flatMap(({ run }) => run ?? []).filter((run) => run.startsWith('npm'));
    expect(own).toEqual(['npm ci', 'npm test']);
    expect(readFileSync('README.md', 'utf8')).toContain(`    ${own.join(' && ')}\n`);
    expect(readFileSync('.ci/run', 'utf8')).toContain(own.join('\n'));
  });

  it('has on Linux every package that the tests would install', () => {
    const installed = commands.find((command) => command.includes('apt-get install'))!.split(' ');
    expect(neededPackages().length).toBeGreaterThan(15);
    expect(neededPackages().filter((name) => !installed.includes(name))).toEqual([]);
  });
});

/** The packages in `need('program', 'package', ...)` and `needPackages('package', ...)` of what `npm test` runs. */
function neededPackages(): string[] {
  const files = readdirSync('tests', { recursive: true, encoding: 'utf8' }).filter(
    // Wine is for the Windows build, which is tested by hand; a browser comes with its npm package.
    (file) => file.endsWith('.ts') && !/windows|requirements|ci\.test/.test(file),
  );
  const words = (list: string) => [...list.matchAll(/'([^']+)'/g)].map(([, word]) => word);
  const listed = files.flatMap((file) =>
    [...readFileSync(join('tests', file), 'utf8').matchAll(/\bneed(Packages)?\(([^;]*)\);/g)].flatMap(
      ([, packages, list]) => words(list).slice(packages || list.startsWith('process.env') ? 0 : 1),
    ),
  );
  const browser = /BROWSER_LIBRARIES = \[([^\]]*)\]/.exec(readFileSync('tests/requirements.ts', 'utf8'));
  return [...new Set([...listed, ...words(browser![1])])].filter((word) => /^[a-z]/.test(word));
}
