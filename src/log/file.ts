import { closeSync, fstatSync, mkdirSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import { dirname } from 'node:path';
import { TautlineError } from '../errors.js';

export interface LogFileOptions {
  path: string;
  /** The file is put aside when it would grow beyond. */
  maxBytes?: number;
  /** Files kept beside it, `NAME.1` the newest. */
  keep?: number;
}

/** Takes whole lines. */
export interface LogFile {
  write(line: string): void;
}

/**
 * A log of bounded size for systems that keep none: at most (keep + 1) × maxBytes. Written at once, so that nothing is
 * lost when the process ends. A log must never end the service: lines that cannot be written are counted, and the
 * count is written when there is room again.
 * @throws TautlineError `fileDenied` when it cannot be opened at the start
 */
export function openLogFile(options: LogFileOptions): LogFile {
  const { path, maxBytes = 5_000_000, keep = 3 } = options;
  let fd: number | undefined;
  let bytes = 0;
  let lost = 0;

  const open = (): void => {
    mkdirSync(dirname(path), { recursive: true, mode: 0o700 });
    // Names of gloves, apps and ports stand in it.
    fd = openSync(path, 'a', 0o600);
    bytes = fstatSync(fd).size;
  };
  const close = (): void => {
    const old = fd;
    fd = undefined;
    if (old !== undefined) closeSync(old);
  };
  const rotate = (): void => {
    close();
    rmSync(`${path}.${keep}`, { force: true });
    for (let n = keep - 1; n >= 1; n--) moveIfThere(`${path}.${n}`, `${path}.${n + 1}`);
    if (keep > 0) moveIfThere(path, `${path}.1`);
    else rmSync(path, { force: true });
    open();
  };

  try {
    open();
  } catch (error) {
    throw new TautlineError(
      'fileDenied',
      `${path}: the log cannot be written (${(error as NodeJS.ErrnoException).code}).`,
      'Name a file that you may write with --log-file.',
      { cause: error },
    );
  }
  return {
    write(line) {
      try {
        if (fd === undefined) open();
        if (bytes > 0 && bytes + Buffer.byteLength(line) > maxBytes) rotate();
        if (lost > 0) {
          const told = `${JSON.stringify({ level: 40, time: new Date().toISOString(), msg: `${lost} lines of this log could not be written` })}\n`;
          bytes += writeSync(fd!, told);
          lost = 0;
        }
        bytes += writeSync(fd!, line);
      } catch {
        lost++;
        try {
          close();
        } catch {
          // Even closing fails on a disk that is gone.
        }
      }
    },
  };
}

function moveIfThere(from: string, to: string): void {
  try {
    renameSync(from, to);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
  }
}
