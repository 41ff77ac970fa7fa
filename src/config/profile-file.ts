import { createHash } from 'node:crypto';
import { copyFile, open, readdir, readFile, realpath, rename, rm, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { TautlineError } from '../errors.js';

/** Backups of a profile that are kept, the newest ones. */
const KEPT_BACKUPS = 10;

/** Tells two texts apart. */
export const digestOf = (text: string): string => createHash('sha256').update(text).digest('hex');

/**
 * Puts another text in the place of a profile. The old one is kept beside it; a crash leaves the old one or the new one,
 * and a link to the file stays a link.
 *
 * @param expected digest of the text that was changed: whatever else has been written meanwhile is not lost
 * @returns path of the backup
 * @throws TautlineError tryAgain where the file is another one by now; fileDenied, diskFull
 */
export async function saveProfile(file: string, text: string, expected: string): Promise<string> {
  try {
    const path = await realpath(file);
    if (digestOf(await readFile(path, 'utf8')) !== expected) {
      throw new TautlineError(
        'tryAgain',
        `${file} was changed by somebody else meanwhile.`,
        'Read it again, and make your changes in that.',
      );
    }
    const { mode } = await stat(path);
    const backup = `${path}.${new Date().toISOString().replaceAll(/[-:]|\.\d+/g, '')}.bak`;
    await copyFile(path, backup);
    const fresh = `${path}.${process.pid}.new`;
    await rm(fresh, { force: true });
    // Never open to more people than the old one, which may hold tokens.
    const handle = await open(fresh, 'wx', mode & 0o777);
    try {
      await handle.writeFile(text);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(fresh, path);
    await forgetOldBackups(path);
    return backup;
  } catch (error) {
    if (error instanceof TautlineError) throw error;
    const { code = (error as Error).message } = error as NodeJS.ErrnoException;
    throw code === 'ENOSPC'
      ? new TautlineError('diskFull', `${file}: the disk is full.`, 'It is as it was: make room.')
      : new TautlineError(
          'fileDenied',
          `${file}: it cannot be written (${code}).`,
          'It is as it was: check the permissions of the file and of its folder.',
        );
  }
}

async function forgetOldBackups(path: string): Promise<void> {
  const name = basename(path);
  const isBackup = (entry: string): boolean =>
    entry.startsWith(`${name}.`) && /^\d{8}T\d{6}Z\.bak$/.test(entry.slice(name.length + 1));
  const backups = (await readdir(dirname(path))).filter(isBackup).sort();
  for (const old of backups.slice(0, -KEPT_BACKUPS)) await rm(join(dirname(path), old), { force: true });
}
