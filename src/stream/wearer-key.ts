import { createHash, randomBytes, timingSafeEqual } from 'node:crypto';
import { mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import type { IncomingHttpHeaders } from 'node:http';
import { join } from 'node:path';

/**
 * The proof that a request comes from the wearer's own tools: a secret, made at every start of the service. The page
 * gets it where no other web page can (`GET /wearer`); the command line reads it from a file that only its user can
 * read. It keeps apps from arming by mistake or by habit. A malicious program of the same user can read both, just as
 * it could open the glove's port itself.
 */
export const WEARER_HEADER = 'tautline-wearer';

export interface WearerKey {
  readonly value: string;
  isIn(headers: IncomingHttpHeaders): boolean;
}

export function createWearerKey(): WearerKey {
  const value = randomBytes(24).toString('base64url');
  const expected = digest(value);
  return {
    value,
    isIn(headers) {
      const given = headers[WEARER_HEADER];
      // Digests all have one length, so the comparison reveals nothing about the key's.
      return typeof given === 'string' && timingSafeEqual(digest(given), expected);
    },
  };
}

/**
 * Leaves the key where the command line finds it: in the first folder that is writable.
 * @param port of the service, which distinguishes several
 * @returns removes it again; undefined when no folder is writable
 */
export function leaveWearerKey(
  { value }: WearerKey,
  folders: readonly string[],
  port: number,
): (() => void) | undefined {
  for (const folder of folders) {
    const file = fileOf(folder, port);
    // Written aside and renamed: nobody reads half a key, and the mode is right from the first byte.
    const aside = `${file}.${process.pid}`;
    try {
      mkdirSync(folder, { recursive: true, mode: 0o700 });
      rmSync(aside, { force: true });
      writeFileSync(aside, `${value}\n`, { mode: 0o600, flag: 'wx' });
      renameSync(aside, file);
    } catch {
      continue;
    }
    return () => {
      // A later service at the same port has put its own there.
      if (read(file) === value) rmSync(file, { force: true });
    };
  }
  return undefined;
}

/** The key of the service at a port of this machine, if this user runs one. */
export function findWearerKey(folders: readonly string[], port: number): string | undefined {
  for (const folder of folders) {
    const key = read(fileOf(folder, port));
    if (key !== undefined) return key;
  }
  return undefined;
}

const fileOf = (folder: string, port: number): string => join(folder, `wearer-${port}.key`);
const digest = (text: string): Buffer => createHash('sha256').update(text).digest();

function read(file: string): string | undefined {
  try {
    return readFileSync(file, 'utf8').trim() || undefined;
  } catch {
    return undefined;
  }
}
