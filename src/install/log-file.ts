import { closeSync, mkdirSync, openSync, renameSync, statSync, writeSync } from 'node:fs';
import { dirname } from 'node:path';
import { TautlineError } from '../errors.js';

/** Bytes of one file, and files that are kept: tautline.log, tautline.log.1, ... */
const MOST_BYTES = 5_000_000;
const KEPT = 4;

/**
 * A log that cannot fill the disk, for systems that keep none themselves. Written at once, so that nothing is lost
 * when the process ends; a disk that is full later on costs lines, never the service.
 * @throws TautlineError fileDenied when it cannot be opened
 */
export function openLogFile(
  path: string,
  mostBytes = MOST_BYTES,
): { write(line: string): void; close(): void } {
  let fd: number;
  let bytes: number;
  const open = (): void => {
    fd = openSync(path, 'a', 0o600);
    bytes = statSync(path).size;
  };
  try {
    mkdirSync(dirname(path), { recursive: true });
    open();
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new TautlineError(
      'fileDenied',
      `${path}: the log cannot be written (${code}).`,
      'Name another with --log-file.',
    );
  }
  const rotate = (): void => {
    closeSync(fd);
    for (let n = KEPT - 1; n >= 1; n--) {
      try {
        renameSync(n === 1 ? path : `${path}.${n - 1}`, `${path}.${n}`);
      } catch {
        // Not there yet.
      }
    }
    open();
  };
  return {
    write(line) {
      try {
        if (bytes + line.length > mostBytes && bytes > 0) rotate();
        bytes += writeSync(fd, line);
      } catch {
        // The next line may find room again.
      }
    },
    close: () => closeSync(fd),
  };
}
