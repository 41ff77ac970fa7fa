import { mkdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname } from 'node:path';
import { TautlineError } from '../errors.js';

/** A browser extension that the wearer has accepted. */
export interface Pairing {
  /** `chrome-extension://…`. */
  origin: string;
  /** SHA-256 of its secret, hexadecimal: whoever reads the file cannot connect with it. */
  digest: string;
  /** When it was accepted, ISO 8601, UTC. */
  since: string;
}

/** What a browser sends as the Origin of an extension: its ID is 32 letters from a to p. */
export const EXTENSION_ORIGIN = /^chrome-extension:\/\/[a-p]{32}$/;
/** The oldest gives way. */
export const MOST_PAIRINGS = 16;
const LARGEST_FILE = 64 * 1024;
const DIGEST = /^[0-9a-f]{64}$/;

/**
 * The pairings in a file; none when there is no file.
 * @throws TautlineError when it cannot be read, holds something else, or when others than its owner can read or write it
 */
export function readPairings(path: string): Pairing[] {
  let text: string;
  try {
    const { mode, size } = statSync(path);
    // As with token files. Whoever can write here can pair what they like.
    if (process.platform !== 'win32' && (mode & 0o077) !== 0) {
      throw new TautlineError(
        'fileDenied',
        `${path}: the pairings can be read or changed by others (mode ${(mode & 0o777).toString(8).padStart(4, '0')}).`,
        `Make the file yours alone: chmod 600 ${path}`,
      );
    }
    if (size > LARGEST_FILE) throw damaged(path);
    text = readFileSync(path, 'utf8');
  } catch (error) {
    if (error instanceof TautlineError) throw error;
    const { code, message } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') return [];
    const line = `${path}: the pairings cannot be read (${code ?? message}).`;
    throw new TautlineError('fileDenied', line, undefined, { cause: error });
  }
  try {
    const { pairings } = JSON.parse(text) as { pairings: unknown };
    if (Array.isArray(pairings) && pairings.every(isPairing)) return pairings;
  } catch {
    // Said below.
  }
  throw damaged(path);
}

/** @throws TautlineError when it cannot be written */
export function writePairings(path: string, pairings: readonly Pairing[]): void {
  // Written aside and renamed: nobody reads half a file, and the mode is right from the first byte.
  const aside = `${path}.${process.pid}`;
  try {
    mkdirSync(dirname(path), { recursive: true, mode: 0o700 });
    rmSync(aside, { force: true });
    writeFileSync(aside, `${JSON.stringify({ pairings }, undefined, 2)}\n`, { mode: 0o600, flag: 'wx' });
    renameSync(aside, path);
  } catch (error) {
    rmSync(aside, { force: true });
    const { code, message } = error as NodeJS.ErrnoException;
    const line = `${path}: the pairings cannot be kept (${code ?? message}).`;
    throw new TautlineError('fileDenied', line, undefined, { cause: error });
  }
}

const damaged = (path: string): TautlineError =>
  new TautlineError('fileInvalid', `${path}: this is no list of pairings.`, 'Delete it, and pair again.');

function isPairing(value: unknown): value is Pairing {
  const { origin, digest, since } = (value ?? {}) as Record<string, unknown>;
  return (
    typeof origin === 'string' &&
    EXTENSION_ORIGIN.test(origin) &&
    typeof digest === 'string' &&
    DIGEST.test(digest) &&
    typeof since === 'string' &&
    !Number.isNaN(Date.parse(since))
  );
}
