import { execFile } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';

/** The package as its users get it: packed, and installed away from this tree. */

const windows = process.platform === 'win32';
const execute = promisify(execFile);
const npm = (...args: string[]) =>
  execute('npm', [...args, '--no-audit', '--no-fund', '--loglevel=error'], {
    shell: windows,
    maxBuffer: 1e7,
  });

export interface Packed {
  /** The tarball. */
  file: string;
  /** Bytes of it. */
  size: number;
  /** Paths in it; those of the packages that it brings along are not among them. */
  paths: string[];
}

/** Packs what is built. @param folder where the tarball goes */
export async function pack(folder: string): Promise<Packed> {
  const { stdout } = await npm('pack', '--json', '--ignore-scripts', '--pack-destination', folder);
  const [{ filename, size, files }] = JSON.parse(stdout) as [
    { filename: string; size: number; files: { path: string }[] },
  ];
  const paths = files.map(({ path }) => path).filter((path) => !path.startsWith('node_modules/'));
  return { file: join(folder, filename), size, paths };
}

export interface Installed {
  /** The package's folder. */
  folder: string;
  /** The command, as it stands in the PATH of whoever installed it. */
  command: string;
}

/**
 * Installs a tarball as a user does, into a prefix of its own; with an empty cache and no network, so that nothing is
 * used but what the tarball brings. What is optional is not there, then.
 */
export async function installPacked(tarball: string, prefix: string): Promise<Installed> {
  mkdirSync(prefix, { recursive: true });
  const cache = mkdtempSync(join(tmpdir(), 'tautline-cache-'));
  try {
    await npm(
      ...['install', '--global', '--prefix', prefix],
      ...['--offline', '--cache', cache, '--omit=optional', tarball],
    );
  } finally {
    rmSync(cache, { recursive: true, force: true });
  }
  return {
    folder: join(prefix, ...(windows ? [] : ['lib']), 'node_modules', 'tautline'),
    command: windows ? join(prefix, 'tautline.cmd') : join(prefix, 'bin', 'tautline'),
  };
}
