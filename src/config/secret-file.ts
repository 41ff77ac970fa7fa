import { access, constants, readFile, stat } from 'node:fs/promises';
import { TautlineError } from '../errors.js';

const MAX_SECRET = 1024;

/**
 * Reads a password that stands alone in a file.
 * @throws TautlineError when it cannot be read, is empty or too long, or when others than its owner can read it
 */
export async function readSecretFile(path: string): Promise<string> {
  await refuseReadable(path, 'password');
  const text = (await readFile(path, 'utf8').catch((error) => cannot(path, 'password', error))).replace(
    /\r?\n$/,
    '',
  );
  if (text.length > 0 && text.length <= MAX_SECRET && !/[\r\n]/.test(text)) return text;
  throw new TautlineError(
    'fileInvalid',
    `${path}: this is not a password.`,
    'Put it on one line, and nothing else.',
  );
}

/**
 * @param what the file holds, for the message
 * @throws TautlineError when others than the owner can read the file, or there is none
 */
export async function refuseReadable(path: string, what: string): Promise<void> {
  const { mode } = await stat(path).catch((error) => cannot(path, what, error));
  // Windows has no such bits: there the file's access list counts, and a user's own folder is private.
  if (process.platform === 'win32' || (mode & 0o077) === 0) return;
  throw new TautlineError(
    'fileDenied',
    `${path}: the ${what} can be read by others (mode ${(mode & 0o777).toString(8).padStart(4, '0')}).`,
    `Make it yours alone: chmod 600 ${path}`,
  );
}

/** @throws TautlineError when the file cannot be read */
export async function requireFile(path: string): Promise<void> {
  await access(path, constants.R_OK).catch((error) => cannot(path, 'certificate', error));
}

function cannot(path: string, what: string, error: NodeJS.ErrnoException): never {
  const { code, message } = error;
  const missing = code === 'ENOENT' || code === 'ENOTDIR';
  throw new TautlineError(
    missing ? 'fileNotFound' : 'fileDenied',
    missing
      ? `${path}: no such file for the ${what}.`
      : `${path}: the ${what} cannot be read (${code ?? message}).`,
    undefined,
    { cause: error },
  );
}
