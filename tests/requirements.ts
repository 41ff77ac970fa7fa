import { spawnSync } from 'node:child_process';

/**
 * Sees to it that a program the tests run is there: installs it with apt-get where that is allowed, or throws
 * one line that says how to get it.
 *
 * @param packages the Debian packages that bring it
 */
export function need(program: string, ...packages: string[]): void {
  const missing = () => spawnSync(program, ['--version']).error !== undefined;
  if (!missing()) return;
  const apt = (...args: string[]) =>
    spawnSync('apt-get', ['--quiet', '--yes', ...args], {
      stdio: ['ignore', 'ignore', 'ignore'],
      env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' },
    }).status === 0;
  const install = () => apt('install', '--no-install-recommends', ...packages);
  // The lists of packages may be old, or not there yet.
  if (process.getuid?.() === 0 && !install() && apt('update')) install();
  if (!missing()) return;
  const error = new Error(
    `${program} is missing. On Debian and Ubuntu: sudo apt-get install ${packages.join(' ')}`,
  );
  // The runner prints the stack: where this was asked helps nobody.
  error.stack = error.message;
  throw error;
}
