import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/** The sources stand one folder below the package's own, the files of the built program two. */
function packageFolder(): URL {
  const above = new URL('..', import.meta.url);
  return existsSync(new URL('package.json', above)) ? above : new URL('..', above);
}
const PACKAGE = packageFolder();

/**
 * A file that comes with the program, by its path in the package.
 * @example packageFile('config/simulated.yaml')
 */
export const packageFile = (path: string): string => fileURLToPath(new URL(path, PACKAGE));
