import { type FileHandle, open, unlink } from 'node:fs/promises';
import { TautlineError } from '../errors.js';

/** Appends to a new file in the background, in order. */
export interface FileSink {
  readonly path: string;
  /** Bytes under way to the file. */
  readonly waitingBytes: number;
  /** Why nothing more is written; what was written stays. */
  readonly failure: TautlineError | undefined;
  /** Queues the bytes, which then belong to the sink; drops them after a failure. */
  write(bytes: Uint8Array): void;
  /** Resolves when what was queued is in the file, or the sink has failed. */
  drained(): Promise<void>;
  /** Resolves when what was queued is on the disk, or the sink has failed. */
  synced(): Promise<void>;
  /** Resolves when all is on the disk and the file is closed. */
  close(): Promise<void>;
  /** Closes and removes the file: nothing in it is of use. */
  abandon(): Promise<void>;
}

/** A disk that is further behind than this will not catch up, and the service must not fill its memory. */
const MAX_WAITING_BYTES = 32 * 1024 * 1024;

export interface FileSinkOptions {
  /** Called once, when writing fails. */
  failed(error: TautlineError): void;
  /** Replace an existing file instead of refusing. */
  overwrite?: boolean;
  /** Tests pass a failing disk. */
  openFile?: (path: string, flags: string) => Promise<Pick<FileHandle, 'write' | 'datasync' | 'close'>>;
}

/**
 * Creates the file. Everything written is passed to the operating system at once, which keeps it if this process is
 * killed, and to the disk (fdatasync) after every write, so that a power cut costs no more.
 * @throws TautlineError when the file cannot be created
 */
export async function openFileSink(path: string, options: FileSinkOptions): Promise<FileSink> {
  const { openFile = open } = options;
  let file: Awaited<ReturnType<typeof openFile>>;
  try {
    file = await openFile(path, options.overwrite ? 'w' : 'wx');
  } catch (error) {
    throw writeError(path, error, true);
  }
  const queue: Uint8Array[] = [];
  let waitingBytes = 0;
  let failure: TautlineError | undefined;
  let working: Promise<void> | undefined;
  /** A slow disk takes its time to confirm; writes to the system's memory do not wait for that. */
  let syncing: Promise<void> | undefined;
  let syncAgain = false;
  /** Nothing has reached the disk yet. */
  let bare = true;

  async function sync(): Promise<void> {
    try {
      do {
        syncAgain = false;
        await file.datasync();
        bare = false;
      } while (syncAgain);
    } catch (error) {
      fail(writeError(path, error, bare));
    } finally {
      syncing = undefined;
    }
  }

  async function work(): Promise<void> {
    try {
      while (queue.length > 0) {
        const pieces = queue.splice(0);
        const bytes = pieces.length === 1 ? pieces[0] : Buffer.concat(pieces);
        for (let at = 0; at < bytes.length; ) {
          at += (await file.write(bytes, at, bytes.length - at)).bytesWritten;
        }
        waitingBytes -= bytes.length;
        if (syncing) syncAgain = true;
        else syncing = sync();
      }
    } catch (error) {
      fail(writeError(path, error, bare));
    } finally {
      working = undefined;
    }
  }

  function fail(error: TautlineError): void {
    if (failure) return;
    failure = error;
    queue.length = 0;
    waitingBytes = 0;
    options.failed(error);
  }

  async function synced(): Promise<void> {
    while (working) await working;
    while (syncing) await syncing;
  }

  async function close(): Promise<void> {
    await synced();
    try {
      await file.close();
    } catch (error) {
      fail(writeError(path, error, bare));
    }
  }

  return {
    path,
    get waitingBytes() {
      return waitingBytes;
    },
    get failure() {
      return failure;
    },
    write(bytes) {
      if (failure) return;
      if (waitingBytes + bytes.length > MAX_WAITING_BYTES) {
        fail(
          new TautlineError(
            'diskFull',
            `${path}: the disk is too slow; the recording ends here.`,
            'Record to another disk.',
          ),
        );
        return;
      }
      queue.push(bytes);
      waitingBytes += bytes.length;
      working ??= work();
    },
    async drained() {
      while (working) await working;
    },
    synced,
    close,
    async abandon() {
      await close();
      // If it cannot be removed either, it stays: the failure has been reported.
      await unlink(path).catch(() => {});
    },
  };
}

/**
 * Why writing or creating a file failed, in one line. @param bare nothing is in the file
 */
export function writeError(path: string, error: unknown, bare = false): TautlineError {
  const { code, message } = error as NodeJS.ErrnoException;
  const cause = { cause: error };
  const kept = bare ? 'nothing is recorded' : 'what was recorded until now is in the file';
  switch (code) {
    case 'ENOSPC':
    case 'EDQUOT':
      return new TautlineError(
        'diskFull',
        `${path}: the disk is full; ${kept}.`,
        'Make room, or record to another disk.',
        cause,
      );
    case 'EFBIG':
      return new TautlineError(
        'diskFull',
        `${path}: the file may not grow any more; ${kept}.`,
        'Split the recording with --max-mb.',
        cause,
      );
    case 'EEXIST':
      return new TautlineError(
        'fileDenied',
        `${path}: the file is there already.`,
        'Name another one.',
        cause,
      );
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
      return new TautlineError(
        'fileDenied',
        `${path}: no permission to write there.`,
        'Name a file in a folder of yours.',
        cause,
      );
    case 'ENOENT':
    case 'ENOTDIR':
      return new TautlineError(
        'fileNotFound',
        `${path}: its folder does not exist.`,
        'Make the folder first, or name another.',
        cause,
      );
    case 'EISDIR':
      return new TautlineError('fileDenied', `${path} is a folder.`, 'Name a file in it.', cause);
    default:
      return new TautlineError(
        'fileDenied',
        `${path}: cannot be written (${code ?? message}).`,
        undefined,
        cause,
      );
  }
}
