import { chmod, mkdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { posix, win32 } from 'node:path';

/** Where to reach a running service, for other programs of the same user. */
export interface DiscoveryRecord {
  /** `ws://ADDRESS:PORT/stream`. */
  url: string;
  /** The token that the stream requires, if any. */
  token?: string;
  /** Process of the service: if it is gone, the file is out of date. */
  pid: number;
  /**
   * Which programs are served with OpenXR, by their names as `programName` makes them, and in which space hands are
   * placed; when absent, every one, in local space.
   */
  openxr?: { allow?: string[]; deny: string[]; world?: 'stage' };
}

/**
 * The discovery file: in the user's own runtime folder, which others cannot read (XDG Base Directory Specification:
 * mode 0700, removed at the last log-out); on Windows in %LOCALAPPDATA%. Undefined where there is no such folder.
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
 * Writes the file atomically, readable by the user alone.
 * @returns removes it again, unless another service has written it since @throws errors of the file system
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

/** What a service of this user has left there, if its process is still alive. Never throws. */
export async function readDiscoveryFile(file = discoveryFile()): Promise<DiscoveryRecord | undefined> {
  if (file === undefined) return undefined;
  try {
    const record = JSON.parse(await readFile(file, 'utf8')) as DiscoveryRecord;
    if (typeof record.url !== 'string' || !Number.isInteger(record.pid)) return undefined;
    process.kill(record.pid, 0);
    return record;
  } catch {
    return undefined;
  }
}
