import { chmod, mkdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { posix, win32 } from 'node:path';

/** Where a running service is, for other programs of the same user. */
export interface DiscoveryRecord {
  /** `ws://ADDRESS:PORT/stream`. */
  url: string;
  /** What the stream asks of apps, if anything. */
  token?: string;
  /** Process of the service: a file whose process is gone is not to be believed. */
  pid: number;
}

/**
 * The file that says so: in the user's own runtime folder, which others cannot read (XDG Base Directory
 * Specification: mode 0700, gone at the last log-out); on Windows in %LOCALAPPDATA%. Undefined where there is none.
 */
export function discoveryFile(
  env: NodeJS.ProcessEnv = process.env,
  platform: NodeJS.Platform = process.platform,
): string | undefined {
  if (platform === 'win32') {
    return env.LOCALAPPDATA ? win32.join(env.LOCALAPPDATA, 'Tautline', 'stream.json') : undefined;
  }
  const folder = env.XDG_RUNTIME_DIR;
  return folder && posix.isAbsolute(folder) ? posix.join(folder, 'tautline', 'stream.json') : undefined;
}

/**
 * Writes the file, for the user's eyes alone, and at once as a whole.
 * @returns removes it again, unless another service has written it since
 * @throws what the file system says
 */
export async function writeDiscoveryFile(file: string, where: DiscoveryRecord): Promise<() => Promise<void>> {
  const { dirname } = file.includes('\\') ? win32 : posix;
  await mkdir(dirname(file), { recursive: true, mode: 0o700 });
  const part = `${file}.${where.pid}`;
  await writeFile(part, `${JSON.stringify(where)}\n`, { mode: 0o600 });
  // An older file of that name would have kept its own mode.
  await chmod(part, 0o600);
  await rename(part, file);
  return async () => {
    try {
      const { pid } = JSON.parse(await readFile(file, 'utf8')) as Partial<DiscoveryRecord>;
      if (pid === where.pid) await rm(file);
    } catch {
      // Gone, or not ours: nothing is left to remove.
    }
  };
}
