import { spawnSync } from 'node:child_process';

/**
 * Sees to it that a program the tests run is there: installs it with apt-get where that is allowed, or throws
 * one line that says how to get it.
 *
 * @param packages the Debian packages that bring it
 */
export function need(program: string, ...packages: string[]): void {
  // A program whose libraries are missing starts and fails.
  const missing = () => {
    const { error, status } = spawnSync(program, ['--version']);
    return error !== undefined || status === 127;
  };
  provide(missing, program, packages);
}

/** The same for Debian packages that bring no program to ask, but libraries or headers. */
export function needPackages(...packages: string[]): void {
  const missing = () =>
    packages.some(
      (name) =>
        !spawnSync('dpkg-query', ['--status', name], { encoding: 'utf8' }).stdout?.includes(' installed'),
    );
  provide(missing, packages.join(' '), packages);
}

function provide(missing: () => boolean, what: string, packages: readonly string[]): void {
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
    `${what} is missing. On Debian and Ubuntu: sudo apt-get install ${packages.join(' ')}`,
  );
  // The runner prints the stack: where this was asked helps nobody.
  error.stack = error.message;
  throw error;
}

/**
 * Path of a Chromium that loads extensions, for tests: CHROMIUM_WITH_EXTENSIONS, or Debian's. The one in the npm package
 * is a shell without them. Installs it where that is allowed, or throws one line.
 */
export function needBrowserWithExtensions(): string {
  const { CHROMIUM_WITH_EXTENSIONS = '/usr/bin/chromium' } = process.env;
  need(CHROMIUM_WITH_EXTENSIONS, 'chromium');
  return CHROMIUM_WITH_EXTENSIONS;
}

/** Debian packages with the libraries that the browser of the npm package `@sparticuz/chromium` needs. */
const BROWSER_LIBRARIES = ['libnss3', 'libnspr4', 'libexpat1', 'libuuid1', 'fonts-dejavu-core'];

/**
 * Path of a Chromium for tests: CHROMIUM_PATH, or the one that an npm package carries, or Debian's. Installs what
 * it needs where that is allowed, or throws one line.
 */
export async function needBrowser(): Promise<string> {
  const { CHROMIUM_PATH } = process.env;
  if (CHROMIUM_PATH) {
    need(CHROMIUM_PATH, 'chromium');
    return CHROMIUM_PATH;
  }
  if (process.platform === 'linux' && process.arch === 'x64') {
    const { default: carried } = await import('@sparticuz/chromium');
    const path = await carried.executablePath();
    need(path, ...BROWSER_LIBRARIES);
    return path;
  }
  need('chromium', 'chromium');
  return 'chromium';
}
