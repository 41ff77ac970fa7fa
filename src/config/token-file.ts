import { readFile, stat } from 'node:fs/promises';
import { TautlineError } from '../errors.js';
import { TOKEN } from './schema.js';

const isToken = (text: string): boolean =>
  text.length >= TOKEN.minLength && text.length <= TOKEN.maxLength && new RegExp(TOKEN.pattern).test(text);

/**
 * Reads a token that stands alone in a file.
 * @throws TautlineError when it cannot be read, is not a token, or when others than its owner can read it
 */
export async function readTokenFile(path: string): Promise<string> {
  let text: string;
  try {
    const { mode } = await stat(path);
    // Windows has no such bits: there the file's access list counts, and a user's own folder is private.
    if (process.platform !== 'win32' && (mode & 0o077) !== 0) {
      throw new TautlineError(
        'fileDenied',
        `${path}: the token can be read by others (mode ${(mode & 0o777).toString(8).padStart(4, '0')}).`,
        `Make it yours alone: chmod 600 ${path}`,
      );
    }
    text = (await readFile(path, 'utf8')).trim();
  } catch (error) {
    if (error instanceof TautlineError) throw error;
    const { code, message } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') {
      throw new TautlineError(
        'fileNotFound',
        `${path}: no such token file.`,
        'Make one of 16 characters or more, such as: (umask 077; openssl rand -hex 16 > FILE)',
        { cause: error },
      );
    }
    throw new TautlineError(
      'fileDenied',
      `${path}: the token cannot be read (${code ?? message}).`,
      undefined,
      {
        cause: error,
      },
    );
  }
  if (isToken(text)) return text;
  throw new TautlineError(
    'fileInvalid',
    `${path}: this is not a token.`,
    `Put ${TOKEN.minLength} to ${TOKEN.maxLength} printable characters without spaces on one line, and nothing else.`,
  );
}
